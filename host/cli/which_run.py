"""The argument RUN, which several commands share."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.cli.shared_options import add_runs_argument
from host.run_folder import DEFAULT_FOLDER, SUFFIX, find_run


def add_run_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN and the folder it may lie in."""
    parser.add_argument(
        "run_name", metavar="RUN", help=f"run file (*{SUFFIX}), its name in the runs folder, 'latest', or 'example'"
    )
    add_runs_argument(parser)


def run_path(args: argparse.Namespace) -> Path:
    """The run file meant.

    Raises UserError when there is none, or more than one.
    """
    return find_run(args.run_name, args.runs or DEFAULT_FOLDER)
