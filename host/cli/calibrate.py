"""`swardflow calibrate`: catches, readings and laps become calibration cards."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from host.cli.document_output import add_output_arguments
from host.cli.form_options import quantity_metavar
from host.cli.kind_options import setting_key, usage, way_key
from host.cli.shared_options import add_port_argument, add_rig_argument
from host.run_folder import cards_folder

if TYPE_CHECKING:
    from host.calibrate.kinds.kind import Kind

_CAUTION = (
    "Calibrate with clean water only. Wear gloves; stop the pump and let the pressure off before you touch a nozzle, "
    "hose or strainer."
)


DESCRIPTION = f"Turns what you caught, read and timed into a dated calibration card. {_CAUTION}"


def add_arguments(parser: argparse.ArgumentParser, kinds: Sequence[Kind] | None = None) -> None:
    """What the command takes for each of `kinds` (those we know)."""
    from host.calibrate.kinds import KINDS

    choices = parser.add_subparsers(dest="kind", metavar="KIND", required=True)
    offered = KINDS if kinds is None else kinds
    for kind in offered:
        _add_kind(choices, kind)
    cards = choices.add_parser("cards", help="list the cards of a rig, use one, stop using one")
    cards.set_defaults(kinds=offered)
    _common(cards)
    choice = cards.add_mutually_exclusive_group()
    choice.add_argument("--use", metavar="CARD", help="use this card, and no newer one of its kind")
    choice.add_argument("--stop-using", metavar="CARD", help="use this card no more")
    choice.add_argument("--undo", action="store_true", help="undo the last change of what is used")


def run(args: argparse.Namespace) -> int:
    """Calibrate; 1 when the result is in doubt (a likely slip, an outlier, a bad nozzle) and was not accepted."""
    from host.cli.calibrating import calibrate, list_cards

    return list_cards(args) if args.kind == "cards" else calibrate(args, args.calibration)


def _add_kind(choices: argparse._SubParsersAction[argparse.ArgumentParser], kind: Kind) -> None:
    about = f"{kind.title}: {kind.summary}"
    parser = choices.add_parser(kind.name, help=about, description=f"{about}. {_CAUTION}")
    parser.set_defaults(calibration=kind)
    _common(parser)
    parser.add_argument("--no-card", action="store_true", help="only show the result, save no card")
    parser.add_argument("--accept", action="store_true", help="save the card although something in it is asked about")
    for way in kind.ways:
        if way.option:
            parser.add_argument(
                f"--{way.option}",
                dest=way_key(way),
                action="append",
                nargs="+",
                default=[],
                metavar="VALUE",
                help=_escaped(usage(way) + ("" if way.each else ". Repeat it for more")),
            )
    for field in kind.settings:
        parser.add_argument(
            f"--{field.name.replace('_', '-')}",
            dest=setting_key(field),
            required=field.required,
            metavar="RUN" if field.runs else quantity_metavar(field.quantity),
            help=_escaped(f'{field.label[:1].lower()}{field.label[1:]}, such as "{field.us}"'),
        )
    if kind.guided.board != "none":
        add_port_argument(parser, "; guided then, with live figures")
    if kind.guided.board != "needed":
        parser.add_argument("--guided", action="store_true", help="guided and timed here, without a board")


def _common(parser: argparse.ArgumentParser) -> None:
    cards = cards_folder()
    add_rig_argument(parser, "the sprayer")
    parser.add_argument(
        "--cards", type=Path, default=cards, metavar="FOLDER", help=f"folder of calibration cards (default: {cards})"
    )
    parser.add_argument("--units", choices=("us", "metric"), help="units to show (default: the rig's)")
    add_output_arguments(parser)


def _escaped(text: str) -> str:
    return text.replace("%", "%%")
