"""What `swardflow calibrate` does, the same for every kind. Imported only when it runs."""

from __future__ import annotations

import argparse
import json
import sys
import time
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from host.calibrate.card_choice import saved_cards, stop_using, undo_choice, use_card
from host.calibrate.cards import apply_cards, load_cards
from host.calibrate.cards_document import cards_document
from host.calibrate.drafts import DraftFile
from host.calibrate.kinds.kind import Job, Kind, Outcome, Session, Way, fields_of, save_outcome
from host.calibrate.tools import keep_tools, last_tools
from host.cli.console import Console
from host.cli.document_output import print_document
from host.cli.guided import GuidedCalibration, board_at
from host.cli.kind_options import setting_key, usage, way_key
from host.cli.shared_options import rig_of
from host.documents.document import Document
from host.documents.json import to_json
from host.entries import Entries, WrongEntriesError
from host.errors import BadInputError, UserError
from host.journal import RunFile, read_run
from host.rig import Rig
from host.run_folder import LATEST, find_run


def calibrate(args: argparse.Namespace, kind: Kind) -> int:
    """Run one kind of calibration, print its result, save its card.

    1 when something in it is in doubt and was not accepted: then the card is not saved, or not used.
    """
    rig, cards = _rig(args), args.cards.expanduser()
    found = load_cards(cards, rig.name)
    session = kind.start(Job(apply_cards(rig, found), tuple(found), time.monotonic, _open_run))
    draft = DraftFile(cards, rig.name, kind.name)
    guided = bool(vars(args).get("port") or vars(args).get("guided"))
    # A line that is typed whole owes nothing to the day before.
    settings = _settle(session, kind, args, last_tools(cards, rig.name) if guided else {})
    accepted = _guide(session, kind, args, draft, settings) if guided else bool(args.accept)
    # The guided ones come first: catch 3 is then the one that "u 3" drops.
    for way in kind.ways:
        for number, values in enumerate(vars(args).get(way_key(way), []), start=1):
            _take(session, way, rig, values, f"--{way.option}" if way.each else f"--{way.option} {number}")
    session.check()
    outcome = session.outcome()
    path = None
    if not args.no_card and (accepted or not outcome.questions):
        made = datetime.now().astimezone()
        path = save_outcome(kind, rig.name, outcome, cards, made, accepted=accepted)
        if guided:
            draft.drop()
            keep_tools(cards, rig.name, kind, settings)
    _print(outcome, path, args, accepted)
    return 1 if outcome.in_doubt and not accepted else 0


def list_cards(args: argparse.Namespace) -> int:
    """Print the cards of a rig and which are used; first use one, stop using one, or undo that."""
    rig, folder = _rig(args), args.cards.expanduser()
    if args.use:
        message = use_card(folder, rig.name, args.use)
    elif args.stop_using:
        message = stop_using(folder, rig.name, args.stop_using)
    else:
        message = undo_choice(folder, rig.name) if args.undo else ""
    if message:
        print(message, file=sys.stderr if args.json else sys.stdout)
    document = cards_document(saved_cards(folder, rig.name), rig.name, args.kinds)
    print_document(document, args)
    return 0


def _rig(args: argparse.Namespace) -> Rig:
    """The rig of the file, in the units to show."""
    rig = rig_of(args)
    return replace(rig, units=args.units or rig.units)


def _open_run(name: str) -> RunFile:
    return read_run(find_run(name or LATEST))


def _settle(session: Session, kind: Kind, args: argparse.Namespace, tools: dict[str, str]) -> dict[str, str | None]:
    """Take the options, and of the tools what was said the last time where no option says otherwise; what was taken."""
    typed = {field.name: getattr(args, setting_key(field)) for field in kind.settings}
    for name, text in typed.items():
        _refuse_blank(text, f"--{name.replace('_', '-')}")
    typed |= {name: text for name, text in tools.items() if text and name in typed and typed[name] is None}
    entries = Entries(typed)
    session.settle(entries)
    for name, message in entries.sentences.items():
        raise BadInputError(f"--{name.replace('_', '-')}: {message[:1].lower()}{message[1:]}")
    return typed


def _take(session: Session, way: Way, rig: Rig, values: list[str], what: str) -> None:
    """One option of the command as points of its way. Raises UserError that begins with `what`."""
    if way.each:
        for number, value in enumerate(values, start=1):
            _save(session, way, {way.fields[0].name: value}, f"{what}, value {number}")
        return
    fields = fields_of(way.fields, rig.nozzles.count)
    needed = [field for field in fields if field.required]
    if not len(needed) <= len(values) <= len(fields):
        counted = f"{len(values)} value{'' if len(values) == 1 else 's'}"
        wanted = f"{len(needed)}" + ("" if needed == list(fields) else f" or {len(fields)}")
        boom = f" for a boom of {rig.nozzles.count} nozzles" if fields != way.fields else ""
        raise BadInputError(f"{what} has {counted} and needs {wanted}{boom}: give {usage(way)}")
    names = [field.name for field in (needed if len(values) == len(needed) else fields)]
    _save(session, way, dict(zip(names, values, strict=False)), what)


def _refuse_blank(text: str | None, what: str) -> None:
    """An empty text is a mistake, such as a variable of a script that was not set. Raises UserError."""
    if text is not None and not text.strip():
        raise BadInputError(f"{what} is empty: leave it out or give one.")


def _save(session: Session, way: Way, typed: dict[str, str], what: str) -> None:
    for name, text in typed.items():
        _refuse_blank(text, f"{what}, {name.replace('_', ' ')}")
    try:
        session.save(way.name, Entries(typed))
    except WrongEntriesError as error:
        name, message = next(iter(error.sentences.items()))
        raise BadInputError(f"{what}, {name.replace('_', ' ')}: {message[:1].lower()}{message[1:]}") from None
    except UserError as error:
        raise BadInputError(f"{what}: {error}") from None


def _guide(
    session: Session, kind: Kind, args: argparse.Namespace, draft: DraftFile, settings: dict[str, str | None]
) -> bool:
    """Points taken here; whether what came of them was accepted."""
    # Words go to the error stream where the answer is JSON for a program.
    terminal = Console(sys.stderr if args.json else None)
    again = [field for field in kind.settings if settings[field.name] and not getattr(args, setting_key(field))]
    if again:
        told = "; ".join(f"--{field.name.replace('_', '-')} {settings[field.name]}" for field in again)
        terminal.say(f"Your tools count as the last time: {told}. With these options you say otherwise.")
    usual = [field for field in kind.settings if field.tool and not settings[field.name]]
    if usual:
        options = "; ".join(f"--{field.name.replace('_', '-')}: {field.label}" for field in usual)
        terminal.say(f"Your tools count as usual ones, unless you say with these options how good they are. {options}.")
    port = vars(args).get("port")
    with ExitStack() as stack:
        board = stack.enter_context(board_at(port)) if port else None
        guided = GuidedCalibration(session, kind.guided.name, draft, terminal, board)
        return guided.run(bool(args.accept))


def _print(outcome: Outcome, path: Path | None, args: argparse.Namespace, accepted: bool) -> None:
    if args.json:
        print(_json(outcome.document, {"card": None if path is None else str(path)}))
        return
    print_document(outcome.document, args)
    if path is not None and outcome.not_standard and not accepted:
        named = f" --rig {args.rig}" if args.rig else ""
        use = f"swardflow calibrate cards{named} --use {path.stem}"
        print(f"\nSaved as a measurement, and not used: {path}\nTo use it all the same: {use}")
    elif path is not None:
        print(f"\nSaved: {path}\nNew runs will use it.")
    elif outcome.questions and not args.no_card:
        print("\nNot saved. Put it right, or save it all the same with --accept.")
    else:
        print("\nNo card saved.")


def _json(document: Document, more: dict[str, str | None]) -> str:
    return json.dumps(to_json(document) | more, indent=2, allow_nan=False)
