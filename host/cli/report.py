"""`swardflow report`: the record of a run as a page to print or keep."""

from __future__ import annotations

import argparse

from host.cli.calibration_options import add_under_arguments, under_of
from host.cli.shared_options import PIPE, add_json_argument, add_out_argument, add_units_argument, print_answer
from host.cli.which_run import add_run_arguments, run_path
from host.run_folder import beside

DESCRIPTION = (
    "The page loads nothing and runs nothing; print it to paper or PDF from any browser. Notes added "
    "with 'swardflow runs --note' are in it. For a season: 'swardflow season --out season.html'."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_run_arguments(parser)
    add_out_argument(
        parser, "file to write, or - for a pipe (default: the run's name with .html, beside it)", pipe=True
    )
    add_under_arguments(parser)
    add_units_argument(parser)
    add_json_argument(parser)


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
    out = args.out or beside(path, ".html")
    write_new(out, format_report(run_document(review, args.units or review.rig.units), datetime.now()))
    if out != PIPE:
        print_answer(args, f"{out}: written", {"report": out, "run": path})
    return 0
