"""`swardflow backup`: runs, cards, rigs and settings as one file."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.cli.shared_options import add_json_argument, add_out_argument, add_runs_argument, print_answer
from host.run_folder import DEFAULT_FOLDER

DESCRIPTION = (
    "Writes a zip file that 'swardflow restore' and the page Backup put back, and that every program "
    "for zip files opens. Runs being recorded are in it as far as they are written."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_out_argument(parser, "the file to write, or a folder for it", pipe=False, required=True)
    add_runs_argument(parser)
    add_json_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Write it; 1 when something had to be left out."""
    from datetime import datetime
    from importlib.metadata import version

    from host.backup import Places, backup_name, write_backup
    from host.documents.words import plural
    from host.recorder import is_recording
    from host.settings import settings_path

    now = datetime.now().astimezone()
    out: Path = args.out.expanduser()
    out = out / backup_name(now) if out.is_dir() else out
    written = write_backup(
        Places.of(args.runs or DEFAULT_FOLDER, settings_path()),
        out,
        is_recording=is_recording,
        now=now,
        software=f"swardflow {version('swardflow')}",
    )
    words = f"{out}: {plural(written.files, 'file')}, {plural(written.runs, 'run')} among them."
    answer = {"backup": out, "files": written.files, "runs": written.runs, "messages": written.messages}
    print_answer(args, "\n".join((*written.messages, words)), answer)
    return 1 if written.left_out else 0
