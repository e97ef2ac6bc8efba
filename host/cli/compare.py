"""`swardflow compare`: a run against the catch test of its rig, or against another run."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host.cli.calibration_options import add_under_arguments, cards_named, under_of
from host.cli.which_run import add_run_arguments
from host.run_folder import DEFAULT_FOLDER, find_run

if TYPE_CHECKING:
    from host.review.compare import Comparison
    from host.review.review import Review


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "compare",
        help="hold a run against the catch test of its rig, or against another run",
        description="Compares the boom's orifice coefficient, flow over the root of the pressure, which the pressure "
        "knob and the pace do not change. Without a second run it takes the newest catch test made before the run.",
    )
    add_run_arguments(parser)
    parser.add_argument("other", nargs="?", metavar="OTHER", help="a later run, such as after cleaning")
    add_under_arguments(parser)
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> int:
    """Print the verdict; 1 when something has changed or cannot be told."""
    import json

    from host.library.later_notes import read_notes
    from host.review.compare import AGREES, run_against_run
    from host.review.review import review_run

    under = under_of(args, cards_have_other_use=args.other is None)

    def reviewed(name: str) -> Review:
        path = find_run(name, args.runs or DEFAULT_FOLDER)
        return review_run(path, under=under, later_notes=read_notes(path), watch_faults=False)

    review = reviewed(args.run_name)
    if args.other:
        result = run_against_run(review, reviewed(args.other))
        against = f"run {args.other}"
    else:
        result, against = _against_catch(review, cards_named(args))
    if args.json:
        print(json.dumps({"run": str(review.run.path), "against": against} | comparison_json(result), indent=2))
    else:
        print(f"{review.run.path.name} against {against}: {result.verdict.upper()}")
        print(f"  ratio {result.ratio:.3f} ± {result.ratio * result.uncertainty.expanded:.3f} (95 %)")
        print(f"  {result.advice}")
        print("  made of: " + ", ".join(f"{part.name} {part.standard:.2%}" for part in result.uncertainty.components))
        for remark in result.remarks:
            print(f"  {remark}")
    return 0 if result.verdict in (AGREES, "no change") else 1


def comparison_json(result: Comparison) -> dict[str, Any]:
    """A comparison for machines; uncertainties are relative."""
    return {
        "ratio": result.ratio,
        "expanded_uncertainty_percent": 100 * result.uncertainty.expanded,
        "coverage_factor": result.uncertainty.coverage,
        "components_percent": {part.name: 100 * part.standard for part in result.uncertainty.components},
        "verdict": result.verdict,
        "advice": result.advice,
        "remarks": list(result.remarks),
    }


def _against_catch(review: Review, cards: Path) -> tuple[Comparison, str]:
    from host.calibrate.boom_card import boom_card
    from host.review.compare import catch_before, run_against_catch

    card = catch_before(review, cards.expanduser())
    return run_against_catch(review, boom_card(card)), f"the catch test of {card.made:%Y-%m-%d}"
