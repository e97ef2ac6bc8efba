"""`swardflow compare`: a run against the catch test of its rig, or against another run."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from host.cli.calibration_options import add_under_arguments, cards_named, under_of
from host.cli.document_output import add_output_arguments, print_document
from host.cli.which_run import add_run_arguments
from host.run_folder import DEFAULT_FOLDER, find_run

if TYPE_CHECKING:
    from host.review.review import Review


DESCRIPTION = (
    "Compares the boom's orifice coefficient, flow over the root of the pressure, which the pressure "
    "knob and the pace do not change. Without a second run it takes the newest catch test made before the run."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_run_arguments(parser)
    parser.add_argument("other", nargs="?", metavar="OTHER", help="a later run, such as after cleaning")
    add_under_arguments(parser)
    add_output_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Print the verdict; 1 when something has changed or cannot be told."""
    from host.library.later_notes import read_notes
    from host.review.comparison_document import catch_comparison, run_comparison
    from host.review.review import review_run

    under = under_of(args, cards_have_other_use=args.other is None)

    def reviewed(name: str) -> Review:
        path = find_run(name, args.runs or DEFAULT_FOLDER)
        return review_run(path, under=under, later_notes=read_notes(path), watch_faults=False)

    review = reviewed(args.run_name)
    if args.other:
        document = run_comparison(review, reviewed(args.other), review.rig.units)
    else:
        document = catch_comparison(review, cards_named(args).expanduser(), review.rig.units)
    print_document(document, args)
    return 0 if document.level == "note" else 1
