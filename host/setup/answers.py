"""Answers to the questions become the tables of a rig file, and a rig file's tables become answers again."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from host.documents.words import sentence
from host.entries import WrongEntriesError
from host.errors import BadInputError, UserError
from host.rig import Rig, rig_from_toml
from host.schema import Choice, Place, Points, Text, Whole, YesNo
from host.setup.questions import BY_NAME, NAME, QUESTIONS, Question
from host.setup.rig_text import format_rig

Answers = Mapping[str, str | None]
_CARRIED = "tip"  # tables that no question asks for: they stay as they are
_PAIRS = (
    ("tip_low", "tip_high"),
    ("meter_caught_low", "meter_caught_high"),
    ("output_low", "output_high"),
    ("span_low", "span_high"),
)
_EITHER = (
    ("tip_points", ("tip_flow", "tip_at")),
    ("meter_curve", ("factor",)),
    ("pump_points", ("pump_open_flow", "pump_shutoff")),
)


def rig_from_answers(answers: Answers, base: Mapping[str, Any] | None = None) -> Rig:
    """The rig that the answers describe, with the text of its file; `base` is the file that is being changed.

    Raises WrongEntriesError with a sentence for each question that is wrong, UserError for what belongs to none.
    """
    wrong: dict[str, str] = {}
    tree = _tree(answers, wrong)
    wrong = _together(answers) | wrong
    if wrong:
        raise WrongEntriesError({name: wrong[name] for name in BY_NAME if name in wrong})
    if base and _CARRIED in base:
        tree[_CARRIED] = base[_CARRIED]
    text = format_rig(tree)
    try:
        return rig_from_toml(text, "this sprayer")
    except UserError as error:
        raise _placed(error) from None


def answers_from_tree(tree: Mapping[str, Any]) -> dict[str, str]:
    """Answers that give the same tables, as a form is filled in with them."""
    found = {
        "travel": "course" if "course" in tree else "wheel",
        "transducer": "yes" if "pressure" in tree else "no",
    }
    for question in QUESTIONS:
        value: Any = tree
        for name in question.path:
            value = value.get(name) if isinstance(value, dict) else None
        if not question.path or value is None:
            continue
        if question.end is not None:
            value = value[question.end]
        found[question.name] = _written(value)
    return found


def read_answer(question: Question, text: str) -> Any:
    """The answer as it stands in the file, checked by itself. Raises BadInputError."""
    place, kind = Place(question.label), question.reads if question.path else None
    text = " ".join(text.split())
    if kind is None:
        return Choice(tuple(value for value, _ in question.choices)).read(text, place)
    value: Any = text
    if isinstance(kind, YesNo):
        return Choice(("yes", "no")).read(text, place) == "yes"
    if isinstance(kind, Whole):
        if not re.fullmatch(r"[0-9]{1,6}", text):
            raise BadInputError(f'{place} is "{text[:40]}": give a whole number, such as {question.us}.')
        value = int(text)
    elif isinstance(kind, Points):
        value = _rows(text, question)
    elif not isinstance(kind, Choice | Text):
        value = text.replace("²", "2")
    kind.read(value, place)
    return value


def _tree(answers: Answers, wrong: dict[str, str]) -> dict[str, Any]:
    """The tables; `wrong` gets a sentence for each answer that cannot be read or is missing."""
    tree: dict[str, Any] = {}
    for question in QUESTIONS:
        if not _is_asked(question, answers, wrong):
            continue
        text = answers.get(question.name) or ""
        if not text.strip():
            if question.needed:
                wrong[question.name] = _left_blank(question, answers)
            continue
        try:
            value = read_answer(question, text)
        except UserError as error:
            wrong[question.name] = sentence(str(error))
            continue
        if question.path:
            _put(tree, question, value)
    if _answer("transducer", answers) == "yes" and not _given(answers, "span_low"):
        high = answers.get("span_high") or ""
        _put(tree, BY_NAME["span_low"], "0 psi" if "psi" in high.lower() else "0 bar")
    return tree


def _left_blank(question: Question, answers: Answers) -> str:
    typical = "" if question is NAME else question.typical((answers.get("units") or "").strip() or "us")
    typical = typical.replace("t2", "t²").replace("m2", "m²")  # as the field beside it writes the unit
    return f"Fill this in. Typical: {typical}." if typical else "Fill this in."


def _put(tree: dict[str, Any], question: Question, value: Any) -> None:
    at = tree
    for name in question.path[:-1]:
        at = at.setdefault(name, {})
    if question.end is None:
        at[question.path[-1]] = value
    else:
        at.setdefault(question.path[-1], [None, None])[question.end] = value


def _answer(name: str, answers: Answers) -> str:
    """The answer to a choice; the first one where nothing was said."""
    return (answers.get(name) or "").strip() or BY_NAME[name].choices[0][0]


def _is_asked(question: Question, answers: Answers, wrong: Mapping[str, str]) -> bool:
    return question.only is None or (
        question.only[0] not in wrong and _answer(question.only[0], answers) == question.only[1]
    )


def _given(answers: Answers, *names: str) -> bool:
    return any(_is_asked(BY_NAME[name], answers, {}) and (answers.get(name) or "").strip() for name in names)


def _together(answers: Answers) -> dict[str, str]:
    """What is wrong with answers that belong together."""
    wrong: dict[str, str] = {}
    for first, second in _PAIRS:
        for here, there in ((first, second), (second, first)):
            if _given(answers, here) and not _given(answers, there) and there != "span_low":
                wrong[there] = f"Fill this in, too: {BY_NAME[here].label.lower()} says nothing without it."
    for rows, single in _EITHER:
        if _given(answers, rows) and _given(answers, *single):
            wrong[rows] = f"Give this or {BY_NAME[single[0]].label.lower()}, not both."
    for rows, names in (("tip_points", ("tip_flow", "tip_at")), ("meter_curve", ("factor",))):
        wrong |= {name: _left_blank(BY_NAME[name], answers) for name in names if not _given(answers, rows, name)}
    if _given(answers, "pump_shutoff", "pump_switch") and not _given(answers, "pump_points", "pump_open_flow"):
        wrong["pump_open_flow"] = "Fill this in, too, or leave the pump out."
    return wrong


def _placed(error: UserError) -> Exception:
    """The same at the question whose key it names; as it is where it names none."""
    path = str(error).split(" in this sprayer")[0].split(" ")[-1]
    for question in QUESTIONS:
        if ".".join(question.path) == path:
            return WrongEntriesError({question.name: sentence(str(error))})
    return error


def _rows(text: str, question: Question) -> list[list[str]]:
    rows = [row.split(":") for row in text.replace("\n", ";").split(";") if row.strip()]
    if not rows or any(len(row) != 2 for row in rows):
        raise BadInputError(f'{question.label} is "{text[:60]}": give rows such as "{question.us}".')
    return [[cell.strip() for cell in row] for row in rows]


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "; ".join(": ".join(row) for row in value)
    return str(value)
