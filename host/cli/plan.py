"""`swardflow plan`: rate, speed and pressure; tips; the pump; the rate of a refill."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.cli.document_output import add_output_arguments, print_document
from host.cli.form_options import answered, field_help, field_metavar
from host.cli.shared_options import add_rig_argument, add_units_argument, rig_of

_QUESTIONS = {
    "rate": "rate, speed and pressure: give two, the third is found; what to walk and catch by",
    "tips": "which tips give a rate at a speed and pressure",
    "pump": "is the pump big enough for nozzles and agitation",
    "refill": "the rate from what it took to fill the tank again",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Register the command and its questions."""
    from host.plan.fields import PUMP, RATE, REFILL, TIPS
    from host.run_folder import cards_folder

    questions = parser.add_subparsers(dest="question", metavar="QUESTION", required=True)
    for name, fields in (("rate", RATE), ("tips", TIPS), ("pump", PUMP), ("refill", REFILL)):
        question = questions.add_parser(name, help=_QUESTIONS[name])
        add_rig_argument(question, "the sprayer")
        for field in fields:
            question.add_argument(field.option, dest=field.name, metavar=field_metavar(field), help=field_help(field))
        question.add_argument(
            "--cards",
            type=Path,
            default=cards_folder(),
            metavar="FOLDER",
            help="folder of calibration cards (default: %(default)s)",
        )
        add_units_argument(question)
        add_output_arguments(question)


def run(args: argparse.Namespace) -> int:
    """Answer; 1 when there is something to be warned of."""
    from host.calibrate.cards import apply_cards, load_cards
    from host.plan import fields
    from host.plan.pump_document import pump_document
    from host.plan.rate_document import rate_document
    from host.plan.refill_document import refill_document
    from host.plan.tips import tips_document

    ask, form = {
        "rate": (rate_document, fields.RATE),
        "tips": (tips_document, fields.TIPS),
        "pump": (pump_document, fields.PUMP),
        "refill": (refill_document, fields.REFILL),
    }[args.question]
    rig = rig_of(args)
    rig = apply_cards(rig, load_cards(args.cards.expanduser(), rig.name))
    typed = {field.name: getattr(args, field.name) for field in form}
    document = answered(lambda: ask(rig, typed, args.units or rig.units, command=True))
    print_document(document, args)
    return 1 if document.level in ("warning", "stop") else 0
