"""`swardflow review`: what a run did."""

from __future__ import annotations

import argparse

from host.cli.calibration_options import add_under_arguments, under_of
from host.cli.document_output import add_output_arguments, print_document
from host.cli.which_run import add_run_arguments, run_path

DESCRIPTION = "Reads a run file again and says what each pass got. Nothing in the file is changed."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_run_arguments(parser)
    add_under_arguments(parser)
    parser.add_argument("--units", choices=("us", "metric"), help="units to show (default: the rig's)")
    parser.add_argument("--no-faults", action="store_true", help="look for no faults: quicker on a run of many hours")
    add_output_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Print the review; 1 when the recording is not complete."""
    from host.library.later_notes import read_notes
    from host.review.review import review_run
    from host.review.run_document import run_document

    path = run_path(args)
    review = review_run(path, under=under_of(args), later_notes=read_notes(path), watch_faults=not args.no_faults)
    print_document(run_document(review, args.units or review.rig.units), args)
    return 0 if review.health.complete else 1
