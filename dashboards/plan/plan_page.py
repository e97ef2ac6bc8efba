"""Plan: rate, speed and pressure; tips; the pump; the rate of a refill. One question at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import Dash, Input, Output, html

from dashboards.context import PageContext
from dashboards.plan.form_view import answered, form_view, inputs_of, typed_into, wrongs_of
from dashboards.ui.document_view import answer_view, section_view
from dashboards.ui.forms import attributes, chips
from dashboards.ui.ways import rig_line, ways
from host.documents.document import Document, Facts, Quantity, Section
from host.documents.words import sentence
from host.errors import UserError
from host.plan.fields import PUMP, RATE, REFILL, TIPS, Field
from host.plan.pump_document import pump_document
from host.plan.rate_document import rate_document
from host.plan.refill_document import refill_document
from host.plan.tips import tips_document
from host.rig import Rig
from host.units import format_number, format_value


@dataclass(frozen=True)
class Question:
    """One thing to plan: its name in ids, its words, what it asks for and what answers it.

    `hint` says what is taken for what is left out; `start` fills fields at first.
    """

    name: str
    words: str
    fields: Sequence[Field]
    ask: Callable[..., Document]
    hint: Callable[[Rig], str]
    start: Callable[[Rig], Mapping[str, str]] = lambda rig: {}


def _rate_hint(rig: Rig) -> str:
    target = format_value(rig.target.rate_m3_m2, "rate", rig.units)
    return f"Fill in two, we work out the third. Rate left blank: the target, {target}."


def _rate_start(rig: Rig) -> Mapping[str, str]:
    """Without a course nothing is known of the speed: the tips' own pressure gives a first answer."""
    return {} if rig.course else {"pressure": format_number(rig.nozzles.reference_pressure_pa, "pressure", rig.units)}


def _tips_hint(rig: Rig) -> str:
    return "Blank: the target, the speed of your course, the pressure of the tips on the boom."


def _pump_hint(rig: Rig) -> str:
    return "All nozzles at your highest pressure, the tank stirred, and a margin for wear."


def _refill_hint(rig: Rig) -> str:
    return "Without a board: fill the tank to a mark, spray an area, and measure what fills it to the mark again."


QUESTIONS = (
    Question("rate", "Rate, speed, pressure", RATE, rate_document, _rate_hint, _rate_start),
    Question("tips", "Which tips", TIPS, tips_document, _tips_hint),
    Question("pump", "Pump", PUMP, pump_document, _pump_hint),
    Question("refill", "Rate by refill", REFILL, refill_document, _refill_hint),
)


def layout(context: PageContext) -> html.Main:
    """The page for the rig at hand."""
    try:
        used = context.rig()
    except UserError as error:
        return html.Main([html.H1("Plan"), html.P(sentence(str(error)), className="notice")], className="sheet")
    first = QUESTIONS[0].name
    return html.Main(
        [
            html.H1("Plan"),
            rig_line(used.said, used.own),
            chips("plan-question", "What do you want to know?", {q.name: q.words for q in QUESTIONS}, first),
            *(_part(question, used.rig, _css(question, first)) for question in QUESTIONS),
            ways(("Calibrate", "/calibrate"), ("Mix", "/mix")),
        ],
        className="sheet",
    )


def _css(question: Question, chosen: str) -> str:
    return "halves" if question.name == chosen else "hidden"


def _part(question: Question, rig: Rig, css: str) -> html.Section:
    form = _form(question)
    return html.Section(
        [
            html.Div(
                [
                    html.P(question.hint(rig), className="part"),
                    *form_view(form, question.fields, rig.units, question.start(rig)),
                    html.Div(html.Button("Calculate", id=f"{form}-go", className="main"), className="acts"),
                ]
            ),
            html.Div(id=f"{form}-result", className="result part", **attributes({"aria-live": "polite"})),
        ],
        id=f"{form}-part",
        className=css,
    )


def _form(question: Question) -> str:
    return f"plan-{question.name}"


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks."""

    @app.callback(
        *(Output(f"{_form(question)}-part", "className") for question in QUESTIONS), Input("plan-question", "value")
    )
    def shown(name: str) -> tuple[str, ...]:
        return tuple(_css(question, name) for question in QUESTIONS)

    for question in QUESTIONS:
        _connect(app, context, question)


def _connect(app: Dash, context: PageContext, question: Question) -> None:
    form, fields = _form(question), question.fields

    @app.callback(
        Output(f"{form}-result", "children"),
        *wrongs_of(form, fields),
        Input(f"{form}-go", "n_clicks"),
        *inputs_of(form, fields),
    )
    def answer(clicks: int | None, *values: str | None) -> tuple[Any, ...]:
        typed = typed_into(fields, values)
        asked = [typed[entry.name] for entry in fields if not entry.choices]
        if not clicks and question.name in ("refill", "tips") and not any(asked):
            return ("", *[""] * len(wrongs_of(form, fields)))
        rig = context.rig().rig
        names = [entry.name for entry in fields if not entry.choices]
        return answered(names, lambda: question.ask(rig, typed, rig.units), _view)


def _view(document: Document) -> list[Any]:
    """The document, with a beat to walk to below the figures that it belongs to."""
    view: list[Any] = [answer_view(document)]
    for section in document.sections:
        view.append(section_view(section))
        beat = _beats(section)
        if beat:
            button = html.Button("Sound the beat", className="beats", **attributes({"data-beats": f"{beat:.2f}"}))
            view.append(html.Div(button, className="acts"))
    return view


def _beats(section: Section) -> float:
    """Steps a minute to walk to; 0 where the section has none."""
    for block in section.blocks:
        for fact in block.facts if isinstance(block, Facts) else ():
            if fact.key == "beats_per_minute" and isinstance(fact.value, Quantity):
                return fact.value.value or 0.0
    return 0.0
