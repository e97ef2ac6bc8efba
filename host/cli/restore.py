"""`swardflow restore`: put back what a backup holds and is missing here."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.run_folder import DEFAULT_FOLDER


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "restore",
        help="put back what a backup holds and is missing here",
        description="Checks every byte of a backup, then adds what is missing here. Nothing is overwritten: of a file "
        "that differs the one here stays, and the one of the backup goes into a folder of its own.",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the backup")
    parser.add_argument("--runs", type=Path, default=DEFAULT_FOLDER, help="folder of the runs (default: %(default)s)")
    parser.add_argument("--look", action="store_true", help="only say what would change")


def run(args: argparse.Namespace) -> int:
    """Say what changes, and do it."""
    from host.backup import Places, open_backup, plan_restore
    from host.settings import settings_path

    restore = plan_restore(open_backup(args.file.expanduser()), Places.of(args.runs, settings_path()))
    print("\n".join(restore.messages))
    if not args.look:
        restore.carry_out()
    return 0
