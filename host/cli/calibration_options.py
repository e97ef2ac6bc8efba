"""Options that say what runs are read under, which several commands share."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from host.cli.shared_options import add_rig_argument, rig_of
from host.run_folder import DEFAULT_FOLDER, cards_folder

if TYPE_CHECKING:
    from host.review.calibration_choice import Under


def add_under_arguments(parser: argparse.ArgumentParser) -> None:
    """What stands in for the recorded rig and calibrations; the run files stay as they are."""
    add_rig_argument(parser, "read under this", "what is recorded in the run")
    parser.add_argument(
        "--recalibrated",
        action="store_true",
        help="read under the newest calibration cards instead of those recorded; of catch tests, the newest before "
        "the run",
    )
    parser.add_argument(
        "--cards", type=Path, metavar="FOLDER", help="folder of calibration cards (default: cards in the runs folder)"
    )


def cards_named(args: argparse.Namespace) -> Path:
    """The folder of cards that the arguments name."""
    return Path(args.cards or cards_folder(args.runs or DEFAULT_FOLDER)).expanduser()


def under_of(args: argparse.Namespace, *, cards_have_other_use: bool = False) -> Under:
    """What the arguments ask to read under. Raises UserError for a rig or a folder of cards that cannot be used."""
    from host.errors import BadInputError
    from host.review.calibration_choice import Under, under_cards

    if args.cards and not args.recalibrated and not cards_have_other_use:
        raise BadInputError("--cards only says where the cards are: add --recalibrated to read the runs under them")
    rig = rig_of(args) if args.rig else None
    return under_cards(cards_named(args), rig) if args.recalibrated else Under(rig)
