"""The questions about a sprayer as a form: what is needed first, the rest of each part under a fold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import Output, State, dcc, html

from dashboards.ui.forms import attributes, entry_id, wrong_id
from dashboards.ui.select import select
from dashboards.ui.unit_field import unit_id, with_unit
from host.entries import WrongEntriesError
from host.schema.kinds import Text
from host.setup.questions import BY_NAME, GROUPS, NAME, QUESTIONS, UNITS, UNITS_OFFERED, Group, Question

FORM = "setup"
ENTRIES = tuple(question for question in QUESTIONS if question is not UNITS)
_WITH_UNIT = tuple(question for question in ENTRIES if question.kind)
CHOICES = tuple(dict.fromkeys(question.only for question in QUESTIONS if question.only))  # that others hang on
_DRAWINGS = {
    "boom": "Boom from behind: nozzles, and the spacing from the middle of one to the middle of the next",
    "tank": "Tank with the mark that it is always filled to",
    "meter": "Tank, pump, bypass back to the tank; after it flow meter, pressure transducer and boom",
    "travel": "Wheel with magnets, a sensor beside them; one turn is the way of one circumference",
}
_FEW = 4


def form_view(system: str, answers: Mapping[str, str], kept: str) -> list[Any]:
    """The form, filled in with `answers`. The browser keeps what is typed, for this sprayer alone, under `kept`."""
    name = html.Div(_field(NAME, system, answers, kept), className="fields part")
    return [name, *(_group(group, system, answers, kept) for group in GROUPS)]


def _group(group: Group, system: str, answers: Mapping[str, str], kept: str) -> html.Section:
    view: list[Any] = [html.H2(group.heading)]
    if words := _DRAWINGS.get(group.name):
        view.append(html.Div(className=f"drawing {group.name}", role="img", **attributes({"aria-label": words})))
    view.append(html.P(group.about, className="about"))
    for more in (False, True):
        questions = [question for question in group.questions if question.more is more]
        fields = _fields(questions, system, answers, kept, more)
        if more and fields:
            view.append(html.Details([html.Summary("More"), *fields], id=more_id(group.name), className="fold"))
        else:
            view += fields
    return html.Section(view, className="part of-sprayer")


def _fields(questions: Sequence[Question], system: str, answers: Mapping[str, str], kept: str, more: bool) -> list[Any]:
    """Fields in rows; those that hang on a choice in a row of their own, which is shown and hidden."""
    view: list[Any] = []
    for only in dict.fromkeys(question.only for question in questions):
        members = [_field(question, system, answers, kept) for question in questions if question.only == only]
        if only is None:
            view.append(html.Div(members, className="fields"))
        else:
            shown = answers.get(only[0], BY_NAME[only[0]].choices[0][0]) == only[1]
            view.append(html.Div(members, id=only_id(only, more), className="fields" if shown else "hidden"))
    return view


def only_id(only: tuple[str, str], more: bool) -> dict[str, str]:
    """Dash's id of the fields that are asked for one answer to a choice."""
    return {"form": FORM, "only": " ".join(only), "more": str(more)}


def more_id(group: str) -> dict[str, str]:
    """Dash's id of what is folded away of a group."""
    return {"form": FORM, "folded": group}


def _field(question: Question, system: str, answers: Mapping[str, str], kept: str) -> html.Div:
    value = answers.get(question.name)
    below = [html.P(question.hint, className="hint")] if question.hint else []
    wrong = html.P(id=wrong_id(FORM, question.name), className="wrong", role="alert")
    whose = attributes({"data-entry": question.name})
    if question.choices:
        given = value or (question.absent if answers else "") or question.choices[0][0]
        return html.Div([_choice(question, given, kept), *below, wrong], className="field", **whose)
    number, units = _number_and_units(question, system, value)
    typical = question.typical(system)
    if units and typical.endswith(units[0].replace("²", "2")):
        typical = typical.removesuffix(units[0].replace("²", "2")).strip()
    known = f"{FORM}-{question.name}-known"
    entry = dcc.Input(
        id=entry_id(FORM, question.name),
        className="entry",
        type="text",
        value=number,
        placeholder=f"such as {typical}" if typical else "",
        maxLength=Text.longest if question.path[-1:] == ("name",) else None,
        autoComplete="off",
        debounce=True,
        persistence=kept,
        persistence_type="session",
        list=known,
        **attributes({"inputMode": "decimal" if units else "numeric" if _is_count(question) else "text"}),
    )
    label = html.Label([html.Span(question.label, className="name"), entry])
    suggested = html.Datalist([html.Option(value=typical)] if typical and question is not NAME else [], id=known)
    if not units:
        return html.Div([label, suggested, *below, wrong], className="field", **whose)
    # The unit last chosen is remembered for a new sprayer; one that is being changed keeps its own.
    unit = select(unit_id(FORM, question.name), f"Unit of {question.label}", dict(zip(units, units, strict=True)),
                  remembered=not answers)  # fmt: skip
    parts = [html.Div([label, unit], className="with-unit"), suggested, *below, wrong]
    return html.Div(parts, className="field wide" if max(map(len, units)) > 12 else "field", **whose)


def _is_count(question: Question) -> bool:
    return question.name in ("nozzles", "magnets")


def _choice(question: Question, value: str, kept: str) -> Any:
    others = () if any(value == code for code, _ in question.choices) else ((value, value),)
    return html.Div(
        [
            html.P(question.label, className="name"),
            dcc.RadioItems(
                id=entry_id(FORM, question.name),
                options=[{"label": words, "value": code} for code, words in (*question.choices, *others)],
                value=value,
                persistence=kept,
                persistence_type="session",
                className="chips",
            ),
        ],
        role="group",
        **attributes({"aria-label": question.label}),
    )


def _number_and_units(question: Question, system: str, value: str | None) -> tuple[str | None, list[str]]:
    """What stands in the field, and the units beside it, that of the value first."""
    if not question.kind:
        return value, []
    units = list(UNITS_OFFERED[question.kind][system])
    both = dict.fromkeys((*units, *UNITS_OFFERED[question.kind]["us"], *UNITS_OFFERED[question.kind]["metric"]))
    for unit in both:
        written = unit.replace("²", "2")
        for ending in (f" {written}", f" {unit}"):
            if value and value.endswith(ending):
                return value.removesuffix(ending), [unit, *(other for other in units if other != unit)]
    return value, units


def states() -> list[State]:
    """States of a callback: every answer, then the unit beside each that has one."""
    values = [State(entry_id(FORM, question.name), "value") for question in ENTRIES]
    return values + [State(unit_id(FORM, question.name), "value") for question in _WITH_UNIT]


def answers_of(values: Sequence[str | None], system: str) -> dict[str, str | None]:
    """The answers in the values of `states`."""
    typed, units = values[: len(ENTRIES)], iter(values[len(ENTRIES) :])
    answers: dict[str, str | None] = {UNITS.name: system}
    for question, text in zip(ENTRIES, typed, strict=True):
        answers[question.name] = with_unit(text, next(units)) if question.kind else text
    return answers


def wrongs() -> list[Output]:
    """Outputs of a callback: the sentence below each question, then whether each fold is open."""
    below = [Output(wrong_id(FORM, question.name), "children") for question in ENTRIES]
    return below + [Output(more_id(group.name), "open") for group in _folding()]


def _folding() -> list[Group]:
    return [group for group in GROUPS if any(question.more for question in group.questions)]


def shown_wrong(wrong: WrongEntriesError | None, unchanged: Any) -> list[Any]:
    """Values for `wrongs`: a fold opens where something in it is wrong, and stays as it is (`unchanged`) elsewhere."""
    sentences = wrong.sentences if wrong else {}
    below = [sentences.get(question.name, "") for question in ENTRIES]
    inside = [any(q.more and q.name in sentences for q in group.questions) for group in _folding()]
    return below + [True if opens else unchanged for opens in inside]
