"""`swardflow plan`: rate, speed and pressure; tips; the pump; the rate of a refill."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.cli.document_output import add_output_arguments, print_document
from host.cli.form_options import answered, field_help

_QUESTIONS = {
    "rate": "rate, speed and pressure: give two, the third is found; what to walk and catch by",
    "tips": "which tips give a rate at a speed and pressure",
    "pump": "is the pump big enough for nozzles and agitation",
    "refill": "the rate from what it took to fill the tank again",
}


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command and its questions."""
    from host.plan.fields import PUMP, RATE, REFILL, TIPS
    from host.run_folder import cards_folder

    parser = commands.add_parser("plan", help="find rate, speed, pressure and tips; size the pump")
    questions = parser.add_subparsers(dest="question", metavar="QUESTION", required=True)
    for name, fields in (("rate", RATE), ("tips", TIPS), ("pump", PUMP), ("refill", REFILL)):
        question = questions.add_parser(name, help=_QUESTIONS[name])
        question.add_argument("--rig", type=Path, required=True, help="rig file (*.toml)")
        for field in fields:
            question.add_argument(field.option, dest=field.name, help=field_help(field))
        question.add_argument(
            "--cards", type=Path, default=cards_folder(), help="folder for cards (default: %(default)s)"
        )
        question.add_argument("--units", choices=("us", "metric"), help="units to show (default: the rig's)")
        add_output_arguments(question)


def run(args: argparse.Namespace) -> int:
    """Answer; 1 when there is something to be warned of."""
    from host.calibrate.cards import apply_cards, load_cards
    from host.plan import fields
    from host.plan.pump_document import pump_document
    from host.plan.rate_document import rate_document
    from host.plan.refill_document import refill_document
    from host.plan.tips import tips_document
    from host.rig import load_rig

    ask, form = {
        "rate": (rate_document, fields.RATE),
        "tips": (tips_document, fields.TIPS),
        "pump": (pump_document, fields.PUMP),
        "refill": (refill_document, fields.REFILL),
    }[args.question]
    rig = load_rig(args.rig)
    rig = apply_cards(rig, load_cards(args.cards.expanduser(), rig.name))
    typed = {field.name: getattr(args, field.name) for field in form}
    document = answered(lambda: ask(rig, typed, args.units or rig.units, command=True))
    print_document(document, args)
    return 1 if document.level in ("warning", "stop") else 0
