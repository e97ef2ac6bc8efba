"""Calibrate: one kind at a time, what to do next, live counts, entries, the result so far, a dated card."""

from __future__ import annotations

from typing import Any, cast

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboards.calibrate.answers import Answer
from dashboards.calibrate.bench import Bench, View
from dashboards.calibrate.sessions import Kind, nozzle_field
from dashboards.forms import WrongEntriesError, cautions, chips, field, sentence, table
from dashboards.plan.figures import remarks
from dashboards.surroundings import Surroundings
from host.calibrate.guide import CAUTIONS
from host.errors import UserError
from host.rig import Rig
from host.units import format_value

FORM = "calibrate"
KINDS: dict[Kind, str] = {
    "meter": "Flow meter",
    "boom": "Boom",
    "pressure": "Pressure",
    "wheel": "Wheel",
    "course": "Pace",
}
LOOK_MS = 400
BUTTONS = ("act", "enter", "undo", "save", "anew")


def layout(surroundings: Surroundings) -> html.Main:
    """The page for the rig at hand."""
    try:
        used = surroundings.rig()
    except UserError as error:
        return html.Main([html.H1("Calibrate"), html.P(sentence(str(error)), className="notice")], className="sheet")
    return html.Main(
        [
            html.H1("Calibrate"),
            html.P(used.said, className="rig"),
            html.Div([_doing(used.rig), _showing()], className="halves"),
            dcc.Interval(id="calibrate-look", interval=LOOK_MS),
            dcc.Store(id="calibrate-poke", data=0),
            dcc.Store(id="calibrate-shown"),
        ],
        className="sheet",
        id="calibrate",
    )


def _doing(rig: Rig) -> html.Section:
    return html.Section(
        [
            cautions(CAUTIONS),
            chips("calibrate-kind", "What is calibrated", cast(dict[str, str], KINDS), "meter"),
            html.P(id="calibrate-say", className="say part", role="status"),
            html.P(
                [html.B(id="calibrate-counted"), " ", html.Span(id="calibrate-about")],
                id="calibrate-count",
                className="counted",
            ),
            html.P(id="calibrate-board", className="board"),
            html.Div(html.Button("Begin", id={"press": "act"}, className="main"), id="calibrate-act", className="acts"),
            html.Div(
                [
                    *(html.Div(_fields(kind, rig), id={"fields": kind}, className="hidden") for kind in KINDS),
                    html.Div(html.Button("Enter", id={"press": "enter"}, className="main"), className="acts"),
                ],
                id="calibrate-entries",
                className="part",
            ),
            html.P(id="calibrate-notice", className="notice part", role="status"),
            html.Div(html.Button("Undo the last", id={"press": "undo"}), className="acts"),
        ]
    )


def _showing() -> html.Section:
    return html.Section(
        [
            html.Div(id="calibrate-result", className="result part"),
            html.Div(
                [
                    html.Button("Save the card", id={"press": "save"}, className="main"),
                    html.Button("Start anew", id={"press": "anew"}),
                ],
                id="calibrate-save",
                className="acts",
            ),
        ]
    )


def _fields(kind: Kind, rig: Rig) -> list[html.Div]:
    us = rig.units == "us"
    length, jug, water = ("200 ft", "44 fl oz", "68 °F") if us else ("60 m", "1300 mL", "20 °C")

    def entry(name: str, label: str, hint: str) -> html.Div:
        return field(f"{FORM} {kind}", name, label, hint)

    weighed = [entry("water", "When weighed: water's temperature", water), entry("empty", "Empty vessel", "0 g: tared")]
    if kind == "meter":
        return [entry("amount", "Caught: volume or weight", "2.31 L or 5.1 lb"), *weighed]
    if kind == "pressure":
        return [entry("gauge", "Gauge showed", "40 psi" if us else "2.5 bar")]
    if kind == "wheel":
        return [entry("distance", "Length of the course", length)]
    if kind == "course":
        return [entry("distance", "Length of the course", length), entry("time", "Time of the pass", "55 s")]
    pressure = format_value(rig.nozzles.points[len(rig.nozzles.points) // 2][0], "pressure", rig.units)
    return [
        entry("pressure", "Pressure at the boom", pressure),
        entry("time", "Caught for", "55 s"),
        *(entry(nozzle_field(n), f"Nozzle {n}: volume or weight", jug) for n in range(1, rig.nozzles.count + 1)),
        entry("speed", "Spraying speed", "2.5 mph" if us else "4 km/h"),
        *weighed,
    ]


def connect(app: Dash, surroundings: Surroundings) -> None:
    """The page's callbacks."""
    bench = Bench(surroundings)

    @app.callback(
        Output("calibrate-poke", "data"),
        Output({"form": ALL, "entry": ALL}, "value"),
        Output({"form": ALL, "wrong": ALL}, "children"),
        Input({"press": ALL}, "n_clicks"),
        State("calibrate-kind", "value"),
        State({"form": ALL, "entry": ALL}, "value"),
        State("calibrate-poke", "data"),
        prevent_initial_call=True,
    )
    def press(_: list[int | None], kind: Kind, values: list[str | None], poked: int) -> tuple[Any, ...]:
        places = [one["id"] for one in ctx.states_list[1]]
        form = f"{FORM} {kind}"
        typed = {at["entry"]: value for at, value in zip(places, values, strict=True) if at["form"] == form}
        button = ctx.triggered_id["press"]
        wrong: dict[str, str] = {}
        before = bench.view(kind).count
        try:
            bench.press(kind, button, typed)
        except WrongEntriesError as error:
            wrong = error.sentences
        taken = bench.view(kind).count > before
        cleared = ["" if taken and at["form"] == form and _is_read_anew(at["entry"]) else no_update for at in places]
        said = [wrong.get(at["entry"], "") if at["form"] == form else "" for at in places]
        return poked + 1, cleared, said

    @app.callback(
        Output("calibrate-shown", "data"),
        Output("calibrate-say", "children"),
        Output("calibrate-counted", "children"),
        Output("calibrate-about", "children"),
        Output("calibrate-board", "children"),
        Output({"press": "act"}, "children"),
        Output("calibrate-act", "className"),
        Output("calibrate-entries", "className"),
        Output({"fields": ALL}, "className"),
        Output("calibrate-notice", "children"),
        Output({"press": "undo"}, "disabled"),
        Output("calibrate-result", "children"),
        Output("calibrate-save", "className"),
        Output({"press": "save"}, "disabled"),
        Input("calibrate-look", "n_intervals"),
        Input("calibrate-poke", "data"),
        Input("calibrate-kind", "value"),
        State("calibrate-shown", "data"),
    )
    def show(_: int | None, __: int, kind: Kind, shown: str | None) -> tuple[Any, ...]:
        view = bench.view(kind)
        now = f"{kind} {view.version} {view.step}"
        live = (now, view.say, view.counted, view.counted_about, view.board)
        if now == shown:
            return (*live, *(no_update,) * 3, [no_update] * len(KINDS), *(no_update,) * 5)
        return (*live, *_standing(kind, view))


def _is_read_anew(entry: str) -> bool:
    """Whether a field holds what the next catch will give afresh; the others stay as they were typed."""
    return entry in ("amount", "gauge", "time", "pressure") or entry.startswith("nozzle_")


def _standing(kind: Kind, view: View) -> tuple[Any, ...]:
    """What only changes with a step: button, fields, notice, result."""
    guided = view.step != "entry"
    counting = view.step in ("ready", "running")
    fields = [
        "fields pairs" if one == "boom" and one == kind else "fields" if one == kind else "hidden" for one in KINDS
    ]
    return (
        "End" if view.step == "running" else "Begin",
        "acts" if guided and counting else "hidden",
        "part" if not counting else "hidden",
        fields,
        view.notice,
        not (view.count or view.step in ("running", "amount")),
        [] if view.answer is None else _result(view.answer),
        "acts" if view.answer is not None else "hidden",
        view.kept,
    )


def _result(answer: Answer) -> list[Any]:
    return [
        html.P(answer.headline, className="headline"),
        *(table(one.headings, one.rows, one.marked) for one in answer.tables),
        remarks(answer.remarks, warn=True),
        *(html.P(words, className="part") for words in answer.about),
    ]
