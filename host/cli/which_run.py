"""The argument RUN, which several commands share."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_run_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN and the folder it may lie in."""
    parser.add_argument("run_name", metavar="RUN", help="run file (*.sward), its name in the runs folder, or 'latest'")
    parser.add_argument("--runs", type=Path, help="folder with run files (default: swardflow-runs in the home folder)")


def run_path(args: argparse.Namespace) -> Path:
    """The run file meant.

    Raises UserError when there is none.
    """
    from host.recorder.folder import DEFAULT_FOLDER, find_run

    return find_run(args.run_name, args.runs or DEFAULT_FOLDER)
