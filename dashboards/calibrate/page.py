"""Calibrate: one kind at a time, what to do next, live counts, entries, the result so far, a dated card."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.exceptions import PreventUpdate

from dashboards.calibrate import cards_view
from dashboards.calibrate.fields import (
    SETTINGS,
    choice_of_way,
    form_of,
    place_of,
    places_of,
    settings_of,
    stays,
)
from dashboards.calibrate.session_store import SessionStore, View
from dashboards.context import PageContext
from dashboards.ui.document_view import document_view
from dashboards.ui.forms import attributes, cautions, chips
from dashboards.ui.polling import asking, connect_polls, due, polls
from dashboards.ui.presses import pressed
from dashboards.ui.unit_field import with_unit
from dashboards.ui.ways import rig_line, ways
from host.calibrate.kinds.kind import PICTURES, Kind
from host.calibrate.tools import last_tools
from host.documents.document import Document
from host.documents.words import sentence
from host.entries import WrongEntriesError
from host.errors import UserError
from host.rig import Rig
from host.run_folder import list_runs

LOOK_MS = 400
POLL = "calibrate"
AGAIN_LOOKS = 12  # what was asked to be drawn and is not after so many, is asked for again
_LIVE = (  # what changes at any time: none of it found by a pattern, which would cost a phone most of its time
    Output("calibrate-now", "data"),
    Output("calibrate-say", "children"),
    Output("calibrate-counted", "children"),
    Output("calibrate-about", "children"),
    Output("calibrate-board", "children"),
    Output("calibrate-timed", "children"),
)
_OF_A_STEP = (  # what only changes with a step: what `_changed` returns
    Output("calibrate-shown", "data"),
    Output("calibrate-cautions", "children"),
    Output({"ways": ALL}, "className"),
    Output("calibrate", "className"),
    Output({"press": "act"}, "children"),
    Output({"press": "second"}, "children"),
    Output({"press": "second"}, "className"),
    Output("calibrate-act", "className"),
    Output({"place": ALL}, "className"),
    Output("calibrate-fields", "className"),
    Output({"needed": ALL}, "className"),
    Output({"fold": ALL}, "className"),
    Output({"press": "enter"}, "children"),
    Output({"press": "next"}, "children"),
    Output({"press": "next"}, "className"),
    Output({"press": "again"}, "children"),
    Output({"press": "again"}, "className"),
    Output("calibrate-enter", "className"),
    Output("calibrate-notice", "children"),
    Output({"press": "undo"}, "disabled"),
    Output("calibrate-result", "children"),
    Output("calibrate-save", "className"),
    Output({"press": "save"}, "disabled"),
    Output({"press": "save"}, "children"),
    Output({"picture": ALL}, "className"),
)
CHANGES = cards_view.CHANGES | {'{"press":["ALL"]}', '{"drop":["ALL"]}'}
BUTTONS = ("act", "second", "enter", "next", "again", "undo", "save", "over")
_RUNS = 20  # to pick from


def layout(context: PageContext) -> html.Main:
    """The page for the rig at hand."""
    try:
        used = context.rig()
        found = list_runs(context.runs)[0]
    except UserError as error:
        return html.Main([html.H1("Calibrate"), html.P(sentence(str(error)), className="notice")], className="sheet")
    newest_first = sorted(found, key=lambda run: run.path.name, reverse=True)
    runs = [run.name for run in newest_first][:_RUNS]
    tools = last_tools(context.cards, used.rig.name)
    return html.Main(
        [
            html.H1("Calibrate"),
            rig_line(used.said, used.own),
            html.Div([_doing(context, used.rig, runs, tools), _showing()], className="halves"),
            cards_view.layout(),
            ways(("Mix", "/mix"), ("Start a run", "/start")),
            *polls(POLL, LOOK_MS),
            dcc.Store(id="calibrate-poke", data=0),
            dcc.Store(id="calibrate-chosen"),
            dcc.Store(id="calibrate-now"),
            dcc.Store(id="calibrate-shown"),
        ],
        className="sheet",
        id="calibrate",
    )


def _doing(context: PageContext, rig: Rig, runs: list[str], tools: dict[str, str]) -> html.Section:
    kinds = context.kinds
    offered = {kind.name: kind.title for kind in kinds if not kind.fits(rig)}
    settings = [settings_of(kind, rig, tools, context.cards) for kind in kinds]
    return html.Section(
        [
            html.Details(
                [html.Summary("Cautions"), html.Div(id="calibrate-cautions")],
                id="calibrate-cautions-fold",
                className="fold",
                open=True,
            ),
            html.Div(
                chips("calibrate-kind", "What are you calibrating?", offered, next(iter(offered))),
                className="no-print chooser",
            ),
            html.Div([choice_of_way(kind) for kind in kinds], className="no-print chooser"),
            html.P(id="calibrate-say", className="say part no-print", role="status"),
            *(
                html.Div(id={"picture": name}, className="hidden", role="img", **attributes({"aria-label": shows}))
                for name, shows in PICTURES.items()
            ),
            html.Div([places[0] for places in settings], className="no-print part"),
            html.P(
                [html.B(id="calibrate-counted"), " ", html.Span(id="calibrate-about")],
                id="calibrate-count",
                className="counted no-print",
            ),
            html.Span(id="calibrate-timed", className="hidden"),
            html.Div(
                [
                    html.Button("Start", id={"press": "act"}, className="main"),
                    html.Button("", id={"press": "second"}, className="hidden"),
                ],
                id="calibrate-act",
                className="hidden",
            ),
            html.Div(
                [place for kind in kinds for place in places_of(kind, rig, runs)],
                id="calibrate-fields",
                className="fields part no-print",
            ),
            html.Div(
                [
                    html.Button("", id={"press": "next"}, className="hidden"),
                    html.Button("Save", id={"press": "enter"}, className="main"),
                    html.Button("", id={"press": "again"}, className="hidden"),
                ],
                id="calibrate-enter",
                className="hidden",
            ),
            html.Div(html.Button("Undo", id={"press": "undo"}), className="acts"),
            # What comes and goes by itself stands below all buttons: none moves away under a thumb.
            html.P(id="calibrate-board", className="board part no-print"),
            html.P(id="calibrate-notice", className="notice part no-print", role="status"),
            html.Div([fold for places in settings for fold in places[1:]], className="no-print chooser"),
        ]
    )


def _showing() -> html.Section:
    return html.Section(
        [
            html.Div(id="calibrate-result", className="result part"),
            html.Div(
                [
                    html.Button("Save card", id={"press": "save"}, className="main"),
                    html.Button("Print", className="prints"),
                    html.Button("Start over", id={"press": "over"}),
                ],
                id="calibrate-save",
                className="hidden",
            ),
        ]
    )


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks."""
    store = SessionStore(context)
    cards_view.connect(app, context)
    connect_polls(app, POLL)
    _connect_buttons(app, store)
    _connect_what_is_shown(app, store)


def _connect_buttons(app: Dash, store: SessionStore) -> None:
    @app.callback(
        Output("calibrate-poke", "data"),
        Output({"form": ALL, "entry": ALL}, "value"),
        Output({"form": ALL, "wrong": ALL}, "children"),
        Output({"fold": ALL}, "open"),
        Input({"press": ALL}, "n_clicks"),
        Input({"drop": ALL}, "n_clicks"),
        State("calibrate-kind", "value"),
        State({"way": ALL}, "value"),
        State({"way": ALL}, "id"),
        State({"form": ALL, "entry": ALL}, "value"),
        State({"form": ALL, "unit": ALL}, "value"),
        State({"form": ALL, "wrong": ALL}, "children"),
        State({"fold": ALL}, "open"),
        State("calibrate-poke", "data"),
        State("calibrate-shown", "data"),
        prevent_initial_call=True,
    )
    def press(*given: Any) -> tuple[Any, ...]:
        return _press(store, *given[2:])


def _connect_what_is_shown(app: Dash, store: SessionStore) -> None:
    @app.callback(
        Output("calibrate-chosen", "data"),
        Input("calibrate-kind", "value"),
        Input({"way": ALL}, "value"),
        State({"way": ALL}, "id"),
    )
    def choose(name: Any, chosen: list[Any], way_ids: list[Any]) -> dict[str, str]:
        kind = _kind(store, name)
        return {"kind": kind.name, "way": _way(kind, chosen, way_ids)}

    @app.callback(
        *_LIVE,
        due(POLL),
        Input("calibrate-poke", "data"),
        Input("calibrate-chosen", "data"),
        State("calibrate-kind", "value"),
        State("calibrate-now", "data"),
        State("calibrate-shown", "data"),
        prevent_initial_call=True,
        running=asking(POLL),
    )
    def look(looks: Any, _: Any, chosen: Any, name: Any, asked: Any, shown: Any) -> tuple[Any, ...]:
        kind, way = _chosen(store, chosen)
        if kind.name != name:  # the answer to that choice was lost on its way
            kind = _kind(store, name)
            way = _way(kind, (), ())
        view = store.view(kind.name, way)
        step = view.step
        timed = "" if step.timed is None else " ".join(f"{value:.1f}" for value in step.timed)
        now = _now(kind, way, view)
        live = (step.message, step.figure, step.about, view.board, timed)
        if now == shown or _waits(asked, now, looks):
            return no_update, *live
        return {"draw": now, "at_look": looks}, *live

    @app.callback(
        *_OF_A_STEP,
        Input("calibrate-now", "data"),
        State({"ways": ALL}, "id"),
        State({"place": ALL}, "id"),
        State({"needed": ALL}, "id"),
        State({"fold": ALL}, "id"),
        prevent_initial_call=True,
    )
    def show(asked: Any, *at: Any) -> tuple[Any, ...]:
        kind, way = _chosen(store, asked.get("draw") if isinstance(asked, dict) else None)
        view = store.view(kind.name, way)
        return _now(kind, way, view), *_changed(kind, way, view, at)


def _waits(asked: Any, now: dict[str, Any], looks: Any) -> bool:
    """Whether what is to be drawn has been asked for a moment ago."""
    if not isinstance(asked, dict) or asked.get("draw") != now:
        return False
    since = asked.get("at_look")
    return not (isinstance(looks, int) and isinstance(since, int) and looks - since >= AGAIN_LOOKS)


def _now(kind: Kind, way: str, view: View) -> dict[str, Any]:
    """What has to be drawn anew when it changes."""
    fields = " ".join(one.name for one in view.step.fields)
    return {"kind": kind.name, "way": way, "step": f"{fields} {view.step.button}", "version": view.version}


def _press(store: SessionStore, *given: Any) -> tuple[Any, ...]:
    """What a button does: the version of the session, entries as they are left, what is wrong with them, folds."""
    name, ways, way_ids, values, units, _, folds, poked, shown = given
    button, kind = _pressed(), _kind(store, name)
    way = _way(kind, ways, way_ids)
    places = [place["id"] for place in ctx.states_list[3]]
    form, settings = form_of(kind.name, way), form_of(kind.name, SETTINGS)
    chosen = {(at["id"]["form"], at["id"]["unit"]): unit for at, unit in zip(ctx.states_list[4], units, strict=True)}
    typed = {
        at["entry"]: with_unit(value, chosen.get((at["form"], at["entry"])))
        for at, value in zip(places, values, strict=True)
        if at["form"] in (form, settings)
    }
    wrong: dict[str, str] = {}
    taken = False
    try:
        taken = store.press(kind.name, way, button, typed, (_version(shown), _whole(poked)))
    except WrongEntriesError as error:
        wrong = error.sentences
    cleared = ["" if taken and at["form"] == form and not stays(kind, at["entry"]) else no_update for at in places]
    messages = [
        wrong.get(at["id"]["wrong"], "") if at["id"]["form"] in (form, settings) else "" for at in ctx.states_list[5]
    ]
    amiss = {at["id"]["form"] for at, message in zip(ctx.states_list[5], messages, strict=True) if message}
    opened = [
        True if form_of(at["id"]["fold"], SETTINGS) in amiss else is_open
        for at, is_open in zip(ctx.states_list[6], folds, strict=True)
    ]
    return store.version, cleared, messages, opened


def _pressed() -> str:
    """The button that was pressed. Raises PreventUpdate when one has only been drawn."""
    found = pressed()
    button = found.get("press")
    if button in BUTTONS:
        return str(button)
    if isinstance(found.get("drop"), int):
        return f"drop {found['drop']}"
    raise PreventUpdate


def _version(shown: Any) -> int:
    """The version of the view that was shown; none that there is where nothing was."""
    return _whole(shown.get("version") if isinstance(shown, dict) else None)


def _whole(version: Any) -> int:
    return version if isinstance(version, int) else -1


def _kind(store: SessionStore, name: Any) -> Kind:
    """The kind of that name. Raises PreventUpdate when there is none."""
    if not isinstance(name, str) or name not in store.kinds:
        raise PreventUpdate
    return store.kinds[name]


def _way(kind: Kind, chosen: Any, ids: Any) -> str:
    """The way that is chosen for the kind; the first one when there is no such."""
    named = [way.name for way in kind.ways if way.title]
    for value, at in zip(chosen, ids, strict=False):
        if at.get("way") == kind.name and value in named:
            return str(value)
    return named[0]


def _chosen(store: SessionStore, data: Any) -> tuple[Kind, str]:
    """The kind and way that the page names. Raises PreventUpdate when there are none such."""
    if not isinstance(data, dict):
        raise PreventUpdate
    kind, way = _kind(store, data.get("kind")), data.get("way")
    if not isinstance(way, str) or way not in [one.name for one in kind.ways]:
        raise PreventUpdate
    return kind, way


def _changed(kind: Kind, way: str, view: View, at: Sequence[Any]) -> tuple[Any, ...]:
    """What only changes with a step: choices, buttons, fields, notice, result."""
    ways, places, needed, folds = at
    step, ready = view.step, bool(view.cautions)
    wanted = {place_of(kind.name, way, one.name) for one in step.fields}
    many = "fields pairs part no-print" if len(step.fields) > 4 else "fields part no-print"
    return (
        cautions(view.cautions) if ready else "",
        ["" if ready and one["ways"] == kind.name else "hidden" for one in ways],
        "sheet in-progress" if step.in_progress else "sheet",
        step.button or "Start",
        step.second,
        "main" if step.second else "hidden",
        "acts sticks" if step.button else "hidden",
        ["" if one["place"] in wanted else "hidden" for one in places],
        many if wanted else "hidden",
        ["fields" if ready and one["needed"] == kind.name else "hidden" for one in needed],
        ["fold" if ready and one["fold"] == kind.name else "fold hidden" for one in folds],
        step.save or "Save",
        step.save_next,
        "main" if step.save_next else "hidden",
        f"Same again: {view.again}",
        "" if view.again else "hidden",
        "acts" if step.save else "hidden",
        view.notice,
        not view.can_undo,
        [] if view.document is None else _result(view.document, view.droppable),
        "acts" if view.document is not None else "hidden",
        view.saved or not view.can_save,
        "Save all the same" if view.asked else "Save card",
        [f"picture no-print {name}" if ready and name == step.picture else "hidden" for name in PICTURES],
    )


def _result(document: Document, droppable: int) -> list[Any]:
    drops = [html.Button(str(n), id={"drop": n}, title=f"Take out number {n}") for n in range(1, droppable + 1)]
    fold = html.Details(
        [html.Summary("Take one out"), html.Div(drops, className="acts numbers")], className="fold no-print"
    )
    return [html.H2(document.title), *document_view(document), *([fold] if droppable > 1 else [])]
