"""`swardflow report`: the record of a run as a page to print or keep."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.cli.calibration_options import add_under_arguments, under_of
from host.cli.which_run import add_run_arguments, run_path


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "report",
        help="write the record of a run as one HTML page to print or keep",
        description="The page loads nothing and runs nothing; print it to paper or PDF from any browser. Notes added "
        "with 'swardflow runs --note' are in it. For a season: 'swardflow season --report'.",
    )
    add_run_arguments(parser)
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="file to write (default: the run's name with .html, beside it)"
    )
    add_under_arguments(parser)
    parser.add_argument("--units", choices=("us", "metric"), help="units to show (default: the rig's)")


def run(args: argparse.Namespace) -> int:
    """Write the page and say where it is."""
    from datetime import datetime

    from host.cli.output_file import write_new
    from host.library.later_notes import read_notes
    from host.review.report import format_report
    from host.review.review import review_run
    from host.review.run_document import run_document

    path = run_path(args)
    review = review_run(path, under=under_of(args), later_notes=read_notes(path))
    out = args.out or path.with_suffix(".html")
    write_new(out, format_report(run_document(review, args.units or review.rig.units), datetime.now()))
    print(f"{out}: written")
    return 0
