"""Start: what is sprayed, with which sprayer, in what weather; filled in from the last time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from starlette.concurrency import run_in_threadpool

from dashboards.context import LAST_RUN, PageContext
from dashboards.start.form import WINDS, fresh_sheet, read_form, sheets
from dashboards.start.last_start import keep_last, load_last
from dashboards.ui.fields import entry_field
from dashboards.ui.forms import attributes, entry_id, wrong_id
from dashboards.ui.polling import asking, connect_polls, due, polls
from dashboards.ui.unit_field import unit_field, unit_id, with_unit
from dashboards.web.first_page import LIVE
from host.documents.words import sentence
from host.entries import WrongEntriesError
from host.errors import UserError, visible
from host.link.found_ports import find_ports
from host.plan.fields import UNIT_CHOICES
from host.recorder.supervision import BUSY
from host.rig import Rig
from host.units import format_value

FORM = "start"
LOOK_MS = 2_000
POLL = "start"
EMULATED = "Emulated board"
CHANGES = frozenset({"start-go"})
CHOSEN = ("rig", "port", "mix", "wind_from")
WITH_UNIT = ("tank", "wind", "temperature")
TYPED = ("product", "area", "operator")
FIELDS = (*CHOSEN, *WITH_UNIT, *TYPED)
_TEMPERATURES = {"us": ("°F", "°C"), "metric": ("°C", "°F")}


def layout(context: PageContext) -> html.Main:
    """The form; in its place what is in the way of a start."""
    try:
        rigs = _rigs(context)
    except UserError as error:
        return _in_place_of_it(sentence(str(error)), ("Set up my sprayer", "/setup"))
    if not context.starting.supervisor.there:
        return _in_place_of_it("These pages only show runs: they were opened without recording.")
    if context.starting.supervisor.look().state in BUSY:
        return _in_place_of_it("A run is being recorded. End it before you start another.", ("See it live", LIVE))
    if not rigs:
        return _in_place_of_it("First set up your sprayer: it takes a few minutes.", ("Set up my sprayer", "/setup"))
    return html.Main(
        [
            html.H1("Start a run"),
            dcc.Location(id="start-live", refresh=True),
            *polls(POLL, LOOK_MS),
            html.Div([_first(context, rigs), _weather(context, _rig_at_first(context))], className="halves"),
            html.P(id="start-said", className="notice part", role="alert"),
            html.Div(html.Button("Start", id="start-go", className="main"), className="acts sticks"),
        ],
        className="sheet",
    )


def _in_place_of_it(words: str, way: tuple[str, str] | None = None) -> html.Main:
    link = [html.Div(html.A(way[0], href=way[1], className="press main"), className="acts")] if way else []
    return html.Main([html.H1("Start a run"), html.P(words, className="notice"), *link], className="sheet")


def _first(context: PageContext, rigs: Mapping[str, str]) -> html.Section:
    last, rig = load_last(context.runs), _rig_at_first(context)
    known = list(rigs)
    chosen = next((name for name in (_chosen(context), last.get("rig")) if name in known), known[0])
    mixes = {"": "None", **sheets(context)}
    hint = f"full: {format_value(rig.tank.volume_m3, 'volume', rig.units)}" if rig else "full"
    label = "In the tank (blank = full)" if len(mixes) < 2 else "In the tank (blank = the sheet's load, else full)"
    units = rig.units if rig else "us"
    return html.Section(
        [
            _choice("rig", "Sprayer", rigs, chosen),
            _choice("port", "Board", _boards(context), _board_at_first(context, last)),
            html.Div(
                [
                    unit_field(FORM, "tank", label, UNIT_CHOICES["volume"][units], hint=hint),
                    *(
                        [
                            _choice(
                                "mix", "Mix sheet", mixes, fresh_sheet(context, rig.name if rig else "", datetime.now())
                            )
                        ]
                        if len(mixes) > 1
                        else [_hidden("mix")]
                    ),
                    _typed("product", "Product", last, "such as liquid feed"),
                    _typed("area", "Area", last, "such as front lawn"),
                    _typed("operator", "Who sprays", last),
                ],
                className="fields part",
            ),
        ]
    )


def _weather(context: PageContext, rig: Rig | None) -> html.Section:
    last, units = load_last(context.runs), rig.units if rig else "us"
    wind, warmth = UNIT_CHOICES["speed"][units], _TEMPERATURES[units]
    return html.Section(
        [
            html.H2("Weather", className="part"),
            html.Div(
                [
                    unit_field(FORM, "wind", "Wind", wind, value=last.get("wind", "")),
                    unit_field(FORM, "temperature", "Temperature", warmth, value=last.get("temperature", "")),
                ],
                className="fields pairs",
            ),
            _choice(
                "wind_from", "Wind from", {"": "?"} | dict(zip(WINDS, WINDS, strict=True)), last.get("wind_from", "")
            ),
            html.P(
                "The label is the law. Do not spray when the wind carries the spray off your ground.", className="part"
            ),
        ]
    )


def _typed(name: str, label: str, last: Mapping[str, str], hint: str = "") -> html.Div:
    entry = entry_field(FORM, name, label, hint)
    entry.children[0].children[1].value = last.get(name, "")
    return entry


def _hidden(name: str) -> html.Div:
    return html.Div([dcc.Input(id=entry_id(FORM, name), value=""), html.P(id=wrong_id(FORM, name))], className="hidden")


def _choice(name: str, label: str, options: Mapping[str, str], value: str) -> html.Div:
    return html.Div(
        [
            html.P(label, className="name"),
            dcc.RadioItems(id=entry_id(FORM, name), options=_options(options), value=value, className="chips"),
            html.P(id=wrong_id(FORM, name), className="wrong", role="alert"),
        ],
        className="choice",
        role="group",
        **attributes({"aria-label": label, "data-entry": name}),
    )


def _options(words: Mapping[str, str]) -> list[Any]:
    return [{"label": visible(label), "value": value} for value, label in words.items()]


def _rigs(context: PageContext) -> dict[str, str]:
    """Sprayers to choose from; that of the newest run where none is set up."""
    rigs = {rig.name: rig.rig.name for rig in context.rigs() if rig.rig is not None}
    if rigs:
        return rigs
    used = context.rig()
    return {LAST_RUN: used.rig.name} if used.own else {}


def _chosen(context: PageContext) -> str:
    chosen = context.chosen_rig()
    return chosen.name if chosen else ""


def _rig_at_first(context: PageContext) -> Rig | None:
    used = context.rig()
    return used.rig if used.own else None


def _boards(context: PageContext) -> dict[str, str]:
    """The boards that are there, by the address of their port."""
    emulated = context.starting.emulated
    found = {emulated: EMULATED} if emulated else {}
    found |= {port.address: port.label for port in find_ports()}
    remembered = context.settings().port
    if "://" in remembered:
        found.setdefault(remembered, remembered)
    return found


def _board_at_first(context: PageContext, last: Mapping[str, str]) -> str:
    boards = list(_boards(context))
    wanted = (last.get("port", ""), context.settings().port)
    return next((port for port in wanted if port in boards), boards[0] if boards else "")


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks."""
    connect_polls(app, POLL)

    @app.callback(
        Output(entry_id(FORM, "port"), "options"),
        Output(entry_id(FORM, "port"), "value"),
        Output(wrong_id(FORM, "port"), "children"),
        due(POLL),
        State(entry_id(FORM, "port"), "options"),
        State(entry_id(FORM, "port"), "value"),
        running=asking(POLL),
    )
    def look(_: int | None, shown: list[Any] | None, chosen: str | None) -> tuple[Any, ...]:
        boards = _boards(context)
        none = "" if boards else "No board found. Plug its USB cable into this computer: it appears here by itself."
        if _options(boards) == shown and (chosen in boards or not boards):
            return no_update, no_update, none
        first = chosen if chosen in boards else _board_at_first(context, load_last(context.runs))
        return _options(boards), first, none

    @app.callback(
        Output("start-live", "href"),
        Output("start-said", "children"),
        *(Output(wrong_id(FORM, name), "children", allow_duplicate=True) for name in FIELDS if name != "wind_from"),
        Input("start-go", "n_clicks"),
        *(State(entry_id(FORM, name), "value") for name in FIELDS),
        *(State(unit_id(FORM, name), "value") for name in WITH_UNIT),
        prevent_initial_call=True,
        running=[(Output("start-go", "disabled"), True, False), (Output("start-go", "children"), "Starting…", "Start")],
    )
    async def start(clicks: int | None, *values: str | None) -> tuple[Any, ...]:
        names = [name for name in FIELDS if name != "wind_from"]
        if not clicks:
            return (no_update,) * (2 + len(names))
        typed = dict(zip(FIELDS, (text or "" for text in values), strict=False))
        units = dict(zip(WITH_UNIT, values[len(FIELDS) :], strict=True))
        typed |= {name: with_unit(typed[name], units[name]) or "" for name in WITH_UNIT}
        said, wrong = await run_in_threadpool(_started, context, typed)
        where = no_update if said or wrong else LIVE
        return (where, said, *(wrong.get(name, "") for name in names))


def _started(context: PageContext, typed: Mapping[str, str]) -> tuple[str, dict[str, str]]:
    """Start the run; a message and one for each field where it does not start."""
    try:
        request = read_form(context, typed)
        context.starting.supervisor.start(request)
        keep_last(context.runs, {name: text for name, text in typed.items() if name not in ("tank", "mix")})
        if request.port != context.starting.emulated:
            context.remember(rig=_remembered(request.rig, typed["rig"]), port=request.port)
    except WrongEntriesError as wrong:
        return "Not started: correct the marked fields.", wrong.sentences
    except UserError as error:
        return f"Not started: {sentence(str(error))}", {}
    return "", {}


def _remembered(path: str, name: str) -> str:
    return Path(path).stem if name == LAST_RUN else name
