"""`swardflow open`: all pages over a folder of runs, with or without a board."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.cli.opening import add_page_arguments
from host.cli.shared_options import add_runs_argument
from host.run_folder import DEFAULT_FOLDER

DESCRIPTION = (
    "Serves all pages over a folder of runs. A run is started from the page Start. "
    "Ctrl-C ends everything in good order. What is remembered from one start to the next: 'swardflow settings'."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_runs_argument(parser)
    parser.add_argument(
        "--scenario",
        metavar="SCENARIO",
        help="offer an emulated board beside the real ones: a scenario file or name, such as demo",
    )
    add_page_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Serve until stopped."""
    import tempfile

    from host.cli.demo import emulation_of
    from host.cli.opening import open_pages
    from host.settings import load_settings

    settings = load_settings()
    runs = args.runs or DEFAULT_FOLDER
    if not args.scenario:
        return open_pages(args, runs, settings)
    with tempfile.TemporaryDirectory(prefix="swardflow-board-") as folder:
        return open_pages(args, runs, settings, emulation=emulation_of(args.scenario, "1", Path(folder)))
