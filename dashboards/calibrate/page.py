"""Calibrate: one kind at a time, what to do next, live counts, entries, the result so far, a dated card."""

from __future__ import annotations

from typing import Any, cast

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.exceptions import PreventUpdate

from dashboards.calibrate.answers import Answer
from dashboards.calibrate.fields import SETTINGS, WAYS, form_of, groups_of, is_read_anew, settings_of, ways_of
from dashboards.calibrate.session_store import Bench, View
from dashboards.calibrate.sessions import Kind
from dashboards.context import PageContext
from dashboards.ui.figures import remarks
from dashboards.ui.forms import WrongEntriesError, cautions, chips, sentence, table
from host.errors import UserError
from host.rig import Rig
from host.run_folder import list_runs

KINDS: dict[Kind, str] = {
    "meter": "Flow meter",
    "boom": "Boom",
    "pressure": "Pressure",
    "wheel": "Wheel",
    "course": "Pace",
}
LOOK_MS = 400
BUTTONS = ("act", "enter", "undo", "save", "anew")
_RUNS = 20  # to pick from


def layout(context: PageContext) -> html.Main:
    """The page for the rig at hand."""
    try:
        used = context.rig()
        found = list_runs(context.runs)[0]
    except UserError as error:
        return html.Main([html.H1("Calibrate"), html.P(sentence(str(error)), className="notice")], className="sheet")
    newest_first = sorted(found, key=lambda run: run.path.name, reverse=True)
    runs = [run.name for run in newest_first[:_RUNS]]
    return html.Main(
        [
            html.H1("Calibrate"),
            html.P(used.said, className="rig"),
            html.Div([_doing(used.rig, runs), _showing()], className="halves"),
            dcc.Interval(id="calibrate-look", interval=LOOK_MS),
            dcc.Store(id="calibrate-poke", data=0),
            dcc.Store(id="calibrate-shown"),
        ],
        className="sheet",
        id="calibrate",
    )


def _doing(rig: Rig, runs: list[str]) -> html.Section:
    kinds = cast(dict[str, str], KINDS)
    return html.Section(
        [
            html.Div(id="calibrate-cautions"),
            html.Div(chips("calibrate-kind", "What is calibrated", kinds, "meter"), className="no-print"),
            html.Div([ways_of(kind) for kind in KINDS], className="no-print"),
            html.P(id="calibrate-say", className="say part no-print", role="status"),
            html.P(
                [html.B(id="calibrate-counted"), " ", html.Span(id="calibrate-about")],
                id="calibrate-count",
                className="counted no-print",
            ),
            html.P(id="calibrate-board", className="board no-print"),
            html.Div(html.Button("Begin", id={"press": "act"}, className="main"), id="calibrate-act", className="acts"),
            html.Div([group for kind in KINDS for group in groups_of(kind, rig, runs)], className="no-print"),
            html.Div([fold for kind in KINDS for fold in settings_of(kind, rig)], className="no-print"),
            html.Div(html.Button("Enter", id={"press": "enter"}, className="main"), id="calibrate-enter"),
            html.P(id="calibrate-notice", className="notice part no-print", role="status"),
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
                    html.Button("Print", className="prints"),
                    html.Button("Start anew", id={"press": "anew"}),
                ],
                id="calibrate-save",
                className="acts",
            ),
        ]
    )


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks."""
    bench = Bench(context)

    @app.callback(
        Output("calibrate-poke", "data"),
        Output({"form": ALL, "entry": ALL}, "value"),
        Output({"form": ALL, "wrong": ALL}, "children"),
        Output({"fold": ALL}, "open"),
        Input({"press": ALL}, "n_clicks"),
        Input({"drop": ALL}, "n_clicks"),
        State("calibrate-kind", "value"),
        State({"way": ALL}, "value"),
        State({"form": ALL, "entry": ALL}, "value"),
        State({"form": ALL, "wrong": ALL}, "children"),
        State({"fold": ALL}, "open"),
        State("calibrate-poke", "data"),
        State("calibrate-shown", "data"),
        prevent_initial_call=True,
    )
    def press(*given: Any) -> tuple[Any, ...]:
        kind, ways, values, _, folds, poked, shown = given[2:]
        button, way = _pressed(), _way(kind, ways)
        places = [one["id"] for one in ctx.states_list[2]]
        group = form_of(kind, bench.view(kind, way).stand.group)
        forms = (group, form_of(kind, SETTINGS))
        typed = {at["entry"]: value for at, value in zip(places, values, strict=True) if at["form"] in forms}
        wrong: dict[str, str] = {}
        taken = False
        try:
            taken = bench.press(kind, way, button, typed, (_version(shown), poked))
        except WrongEntriesError as error:
            wrong = error.sentences
        cleared = ["" if taken and at["form"] == group and is_read_anew(at["entry"]) else no_update for at in places]
        said = [wrong.get(at["id"]["wrong"], "") if at["id"]["form"] in forms else "" for at in ctx.states_list[3]]
        amiss = {at["id"]["form"] for at, words in zip(ctx.states_list[3], said, strict=True) if words}
        opened = [
            True if form_of(at["id"]["fold"], SETTINGS) in amiss else is_open
            for at, is_open in zip(ctx.states_list[4], folds, strict=True)
        ]
        return bench.version, cleared, said, opened

    @app.callback(
        Output("calibrate-shown", "data"),
        Output("calibrate-say", "children"),
        Output("calibrate-counted", "children"),
        Output("calibrate-about", "children"),
        Output("calibrate-board", "children"),
        Output("calibrate-cautions", "children"),
        Output({"ways": ALL}, "className"),
        Output({"press": "act"}, "children"),
        Output("calibrate-act", "className"),
        Output({"group": ALL}, "className"),
        Output({"fold": ALL}, "className"),
        Output({"press": "enter"}, "children"),
        Output("calibrate-enter", "className"),
        Output("calibrate-notice", "children"),
        Output({"press": "undo"}, "disabled"),
        Output("calibrate-result", "children"),
        Output("calibrate-save", "className"),
        Output({"press": "save"}, "disabled"),
        Input("calibrate-look", "n_intervals"),
        Input("calibrate-poke", "data"),
        Input("calibrate-kind", "value"),
        Input({"way": ALL}, "value"),
        State("calibrate-shown", "data"),
        State({"ways": ALL}, "id"),
        State({"group": ALL}, "id"),
        State({"fold": ALL}, "id"),
    )
    def show(_: Any, __: Any, kind: Kind, ways: list[str], shown: Any, *places: Any) -> tuple[Any, ...]:
        way = _way(kind, ways)
        view = bench.view(kind, way)
        stand = view.stand
        now = {"at": f"{kind} {way} {stand.group} {stand.act}", "version": view.version}
        live = (now, stand.say, stand.counted, stand.about, view.board)
        if now == shown:
            kept = [[no_update] * len(one) for one in places]
            return (*live, no_update, kept[0], *(no_update,) * 2, kept[1], kept[2], *(no_update,) * 7)
        return (*live, *_standing(kind, view, *places))


def _pressed() -> str:
    """The button that was pressed. Raises PreventUpdate when one has only been drawn."""
    found = ctx.triggered_id
    if not ctx.triggered[0]["value"]:
        raise PreventUpdate
    button = found.get("press")
    if button in BUTTONS:
        return str(button)
    if isinstance(found.get("drop"), int):
        return f"drop {found['drop']}"
    raise PreventUpdate


def _version(shown: Any) -> int:
    """The version of the view that was shown; none that there is where nothing was."""
    version = shown.get("version") if isinstance(shown, dict) else None
    return version if isinstance(version, int) else -1


def _way(kind: Any, chosen: list[Any]) -> str:
    """The way that is chosen for the kind; the first one when there is no such. Raises PreventUpdate without a kind."""
    if kind not in WAYS:
        raise PreventUpdate
    way = chosen[list(KINDS).index(kind)] if len(chosen) == len(KINDS) else None
    return str(way) if way in WAYS[kind] else next(iter(WAYS[kind]))


def _standing(kind: Kind, view: View, ways: list[Any], groups: list[Any], folds: list[Any]) -> tuple[Any, ...]:
    """What only changes with a step: choices, buttons, fields, notice, result."""
    stand = view.stand
    open_group = f"{kind} {stand.group}"
    fields = "fields pairs part" if open_group == "boom typed" else "fields part"
    return (
        cautions(view.cautions) if view.cautions else "",
        ["" if view.cautions and at["ways"] == kind else "hidden" for at in ways],
        stand.act or "Begin",
        "acts" if stand.act else "hidden",
        [fields if at["group"] == open_group else "hidden" for at in groups],
        ["fold" if stand.enter and at["fold"] == kind else "fold hidden" for at in folds],
        stand.enter or "Enter",
        "acts" if stand.enter else "hidden",
        view.notice,
        not view.can_undo,
        [] if view.answer is None else _result(KINDS[kind], view.answer, view.count),
        "acts" if view.answer is not None else "hidden",
        view.kept or not view.can_save,
    )


def _result(name: str, answer: Answer, count: int) -> list[Any]:
    drops = [html.Button(str(n), id={"drop": n}, title=f"Take out number {n}") for n in range(1, count + 1)]
    fold = html.Details(
        [html.Summary("Take one out"), html.Div(drops, className="acts numbers")], className="fold no-print"
    )
    return [
        html.H2(name),
        html.P(answer.headline, className="headline"),
        *(table(one.headings, one.rows, one.marked) for one in answer.tables),
        remarks(answer.remarks, warn=True),
        *([fold] if count > 1 else []),
        *(html.P(words, className="part") for words in answer.about),
    ]
