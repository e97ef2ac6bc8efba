"""`swardflow restore`: put back what a backup holds and is missing here."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.cli.shared_options import add_json_argument, add_runs_argument, print_answer
from host.run_folder import DEFAULT_FOLDER

DESCRIPTION = (
    "Checks every byte of a backup, then adds what is missing here. Nothing is overwritten: of a file "
    "that differs the one here stays, and the one of the backup goes into a folder of its own."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the backup")
    add_runs_argument(parser)
    add_json_argument(parser)
    parser.add_argument("--look", action="store_true", help="only say what would change")


def run(args: argparse.Namespace) -> int:
    """Say what changes, and do it."""
    from host.backup import Places, open_backup, plan_restore
    from host.settings import settings_path

    restore = plan_restore(open_backup(args.file.expanduser()), Places.of(args.runs or DEFAULT_FOLDER, settings_path()))
    print_answer(args, "\n".join(restore.messages), {"backup": args.file, "messages": restore.messages})
    if not args.look:
        restore.carry_out()
    return 0
