"""`swardflow rig`: describe a sprayer, check its rig file, list those that are known."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host.cli.document_output import add_output_arguments, print_document
from host.cli.form_options import quantity_metavar
from host.cli.shared_options import add_json_argument, add_runs_argument, print_answer
from host.errors import NotNowError
from host.run_folder import DEFAULT_FOLDER

if TYPE_CHECKING:
    from host.cli.main import Parser
    from host.rig import Rig
    from host.rig.known import KnownRig
    from host.setup.questions import Question

_QUESTIONS = {
    "new": "describe a sprayer: asks what the options do not say, and writes its rig file",
    "change": "change a sprayer that is known; the version before is kept",
    "check": "what a rig file says, what does not fit, what it cannot measure",
    "list": "the sprayers that are known, and the examples",
    "use": "choose the sprayer that is used when none is named",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Register the command and what it can do."""
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    fills = {"new": _fill_new, "change": _fill_change, "check": _fill_check, "use": _fill_use}
    fills["list"] = add_json_argument
    for name, words in _QUESTIONS.items():
        more: dict[str, Any] = {"fill": fills[name]} if name in fills else {}
        action = actions.add_parser(name, help=words, description=words[:1].upper() + words[1:] + ".", **more)
        add_runs_argument(action)


def _fill_new(parser: Parser) -> None:
    parser.add_argument("--like", metavar="RIG", help="begin with the answers of this one: a name or a rig file")
    _add_questions(parser)


def _fill_change(parser: Parser) -> None:
    parser.add_argument("rig", metavar="RIG", help="name that 'swardflow rig list' shows")
    _add_questions(parser)


def _fill_check(parser: Parser) -> None:
    parser.add_argument("rig", metavar="RIG", help="a rig file, or a name that 'swardflow rig list' shows")
    add_output_arguments(parser)


def _fill_use(parser: Parser) -> None:
    parser.add_argument("rig", metavar="RIG", help="name that 'swardflow rig list' shows, or a rig file")
    add_json_argument(parser)


def _add_questions(parser: Parser) -> None:
    from host.setup.questions import QUESTIONS

    for question in QUESTIONS:
        words = f"{question.label} {question.hint}".strip()
        examples = [f'"{text}"' for text in dict.fromkeys((question.us, question.metric)) if text]
        words += f", such as {' or '.join(examples)}" if examples else ""
        choices = [value for value, _ in question.choices] or None
        metavar = None if choices else quantity_metavar(question.kind)
        parser.add_argument(
            question.option, dest=question.name, metavar=metavar, help=words.replace("%", "%%"), choices=choices
        )
    add_output_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; 1 when something about the sprayer does not fit."""
    args.runs = args.runs or DEFAULT_FOLDER
    actions = {"new": _new, "change": _change, "check": _check, "list": _list, "use": _use}
    try:
        return actions[args.action](args)
    except EOFError:
        raise NotNowError("the questions ended before the last answer: nothing is saved; start again") from None


def _new(args: argparse.Namespace) -> int:
    import tomllib

    from host.rig.known import find_rig
    from host.rig.rig_folder import add_rig, rig_file_text
    from host.setup.answers import answers_from_tree
    from host.setup.questions import REPORT_INTERVAL, USUAL_INTERVAL

    base = tomllib.loads(_valid(rig_file_text(find_rig(args.like, args.runs)))) if args.like else {}
    start = answers_from_tree(base) if base else {REPORT_INTERVAL: USUAL_INTERVAL}
    start.pop("name", None)  # two of one name would share their calibrations
    known = add_rig(args.runs, _answered(args, start, base))
    return _written(args, known.path, known.rig)


def _change(args: argparse.Namespace) -> int:
    import tomllib
    from datetime import datetime

    from host.rig.rig_folder import change_rig, own_rig, rig_file_text
    from host.setup.answers import answers_from_tree

    seen = _valid(rig_file_text(own_rig(args.runs, args.rig).path))
    base = tomllib.loads(seen)
    rig = _answered(args, answers_from_tree(base), base, ask=False)
    known = change_rig(args.runs, args.rig, rig, seen, datetime.now())
    return _written(args, known.path, known.rig)


def _valid(text: str) -> str:
    """The text of a rig file that can be read. Raises UserError."""
    from host.rig import rig_from_toml

    return rig_from_toml(text).toml


def _answered(args: argparse.Namespace, start: dict[str, str], base: dict[str, object], *, ask: bool = True) -> Rig:
    """The rig of the options, of what `start` says, and of what the person at the terminal answers."""
    import sys

    from host.entries import WrongEntriesError
    from host.errors import BadInputError
    from host.setup.answers import rig_from_answers
    from host.setup.questions import BY_NAME, QUESTIONS

    answers = start | {q.name: given for q in QUESTIONS if (given := getattr(args, q.name)) is not None}
    if ask and sys.stdin.isatty():
        _ask_all(answers)
    try:
        return rig_from_answers(answers, base)
    except WrongEntriesError as wrong:
        said = [f"{BY_NAME[name].option}: {words}" for name, words in wrong.sentences.items()]
        raise BadInputError(" ".join(said)) from None


def _ask_all(answers: dict[str, str]) -> None:
    """Ask for what is not answered yet, each until it can be read; what is seldom needed is not asked."""
    from host.errors import UserError
    from host.setup.answers import read_answer
    from host.setup.questions import GROUPS, NAME, UNITS

    system = _asked(UNITS, answers, "us")
    groups = [("", (NAME, UNITS)), *((f"{group.heading}. {group.about}", group.questions) for group in GROUPS)]
    for about, questions in groups:
        asked = [question for question in questions if not question.more and question.name not in answers]
        if asked and about:
            print(f"\n{about}")
        for question in asked:
            if question.only and answers.get(question.only[0]) != question.only[1]:
                continue
            while question.name not in answers:
                typed = _asked(question, answers, system)
                try:
                    read_answer(question, typed)
                except UserError as error:
                    print(error)
                    continue
                answers[question.name] = typed
                system = answers.get("units", system)


def _asked(question: Question, answers: dict[str, str], system: str) -> str:
    if question.name in answers:
        return answers[question.name]
    if question.name == "units" and system == "us" and "name" not in answers:
        return system
    words = "/".join(value for value, _ in question.choices) or f"such as {question.typical(system)}"
    return input(f"{question.label} ({words}): ").strip()


def _written(args: argparse.Namespace, path: Path, rig: Rig | None) -> int:
    """Say where it is and what came of it."""
    from host.setup.rig_document import rig_document

    assert rig is not None
    document = rig_document(rig)
    if not args.json:
        print(f"Saved as {path}\n")
    print_document(document, args)
    return 1 if document.level == "warning" else 0


def _check(args: argparse.Namespace) -> int:
    from host.calibrate.cards import apply_cards, load_cards
    from host.rig import load_rig
    from host.rig.known import find_rig
    from host.rig.rig_folder import last_bringup
    from host.run_folder import cards_folder
    from host.setup.rig_document import rig_document

    rig = load_rig(find_rig(args.rig, args.runs))
    cards = load_cards(cards_folder(args.runs.expanduser()), rig.name)
    document = rig_document(apply_cards(rig, cards), cards, bringup=last_bringup(args.runs, args.rig))
    print_document(document, args)
    return 1 if document.level == "warning" else 0


def _list(args: argparse.Namespace) -> int:
    from host.documents.words import plural
    from host.rig.known import example_rigs, known_rigs
    from host.rig.rig_folder import earlier_versions
    from host.settings import load_settings

    own, examples, chosen = known_rigs(args.runs), example_rigs(), load_settings().rig
    lines = [] if own else ["No sprayer is described yet: 'swardflow rig new' asks about yours."]
    for known in own:
        kept = earlier_versions(known.path)
        before = f" ({plural(len(kept), 'earlier version')} in {kept[0].parent})" if kept else ""
        mark = ", used when none is named" if known.name == chosen else ""
        lines.append(f"{_named(known)}{mark}{before}")
    lines += ["", "Examples, to begin with by --like:", *map(_named, examples)]
    answer = {"used": chosen or None, "rigs": list(map(_told, own)), "examples": list(map(_told, examples))}
    print_answer(args, "\n".join(lines), answer)
    return 0


def _named(known: KnownRig) -> str:
    return f"{known.name}: {known.rig.name if known.rig else known.trouble}"


def _told(known: KnownRig) -> dict[str, Any]:
    return {
        "name": known.name,
        "title": known.rig.name if known.rig else None,
        "file": known.path,
        "trouble": known.trouble or None,
    }


def _use(args: argparse.Namespace) -> int:
    from dataclasses import replace

    from host.rig import load_rig
    from host.rig.known import find_rig
    from host.settings import load_settings, save_settings

    rig = load_rig(find_rig(args.rig, args.runs))
    save_settings(replace(load_settings(), rig=args.rig))
    print_answer(args, f"{rig.name} is used when no rig is named.", {"used": args.rig, "title": rig.name})
    return 0
