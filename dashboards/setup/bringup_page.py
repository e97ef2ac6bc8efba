"""Bring-up: a board tried with its sensors, by hand and step by step; the result is kept with the sprayer."""

from __future__ import annotations

import threading
import time
from datetime import datetime
from typing import Any

from dash import ALL, Dash, Input, Output, State, dcc, html, no_update

from dashboards.context import PageContext
from dashboards.ui.document_view import answer_view
from dashboards.ui.fields import asked_for
from dashboards.ui.forms import attributes, cautions
from dashboards.ui.polling import asking, connect_polls, due, polls
from dashboards.ui.presses import pressed
from dashboards.ui.ways import ways
from host.bringup import Finding
from host.documents.words import sentence
from host.errors import NotFoundError, NotNowError, UserError, visible
from host.link.found_ports import find_ports
from host.link.ports import open_port
from host.recorder.control import recorder_at
from host.rig.known import KnownRig
from host.rig.rig_folder import keep_bringup
from host.setup.board_trial import BoardTrial, Reading, TrialView

CHANGES = frozenset({"bringup-go", '{"try":["ALL"]}'})
LOOK_MS = 400
POLL = "bringup"
_EMULATED = "Emulated board"
CAUTIONS = (
    "Clean water or air only, no spray chemicals. Keep the pump off unless a step asks for it.",
    "A pump that starts sprays: nobody stands in front of the nozzles.",
)


class _Trials:
    """The one trial that there is, whichever screen looks at it."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.trial: BoardTrial | None = None

    def view(self) -> TrialView | None:
        """How far it is; None before the first."""
        trial = self.trial
        return trial.view() if trial else None


def layout(context: PageContext) -> html.Main:
    """The page."""
    del context
    return html.Main(
        [
            dcc.Location(id="bringup-url"),
            *polls(POLL, LOOK_MS),
            dcc.Store(id="bringup-shown"),
            html.H1("Try the board"),
            html.Div(id="bringup-rig", className="rig"),
            html.Div(
                [
                    cautions(CAUTIONS),
                    html.Div(
                        [
                            html.P("Board", className="name"),
                            dcc.RadioItems(id="bringup-port", options=[], className="chips"),
                        ],
                        className="choice",
                        role="group",
                        **attributes({"aria-label": "Board"}),
                    ),
                    html.P(id="bringup-said", className="notice part", role="alert"),
                    html.Div(html.Button("Start", id="bringup-go", className="main"), className="acts"),
                ],
                id="bringup-first",
            ),
            html.Div(id="bringup-step", className="part", **attributes({"aria-live": "polite"})),
            html.Div(id="bringup-readings", className="readings"),
            html.Div(id="bringup-acts"),
            html.Div(id="bringup-result", className="part"),
            html.Div(id="bringup-found", className="part"),
        ],
        className="sheet",
    )


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks."""
    trials = _Trials()
    connect_polls(app, POLL)
    _connect_first(app, context)
    _connect_buttons(app, context, trials)
    _connect_look(app, trials)


def _connect_first(app: Dash, context: PageContext) -> None:
    @app.callback(
        Output("bringup-rig", "children"),
        Output("bringup-go", "disabled"),
        Output("bringup-port", "options"),
        Output("bringup-port", "value"),
        Input("bringup-url", "search"),
    )
    def first(search: str | None) -> tuple[Any, ...]:
        options: list[Any] = []
        chosen: str | None = None
        try:
            boards, remembered = _boards(context), context.settings().port
            options = [{"label": words, "value": port} for port, words in boards.items()]
            chosen = next(iter(boards), None)
            rig = _said(_rig(context, search))
            if not boards:
                return f"{rig}. No board found: plug it in, then open this page again.", True, options, chosen
            return rig, False, options, remembered if remembered in boards else chosen
        except NotFoundError as error:
            return [sentence(str(error)), ways(("Set up my sprayer", "/setup"))], True, options, chosen
        except UserError as error:
            return sentence(str(error)), True, options, chosen


def _connect_buttons(app: Dash, context: PageContext, trials: _Trials) -> None:
    @app.callback(
        Output("bringup-said", "children"),
        Input("bringup-go", "n_clicks"),
        State("bringup-url", "search"),
        State("bringup-port", "value"),
        prevent_initial_call=True,
    )
    def start(clicks: int | None, search: str | None, port: str | None) -> Any:
        if not clicks:
            return no_update
        try:
            with trials.lock:
                _start(trials, context, _rig(context, search), port)
        except UserError as error:
            return sentence(str(error))
        return ""

    @app.callback(
        Output("bringup-said", "children", allow_duplicate=True),
        Input({"try": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def press(_clicks: list[int | None]) -> Any:
        trial, button = trials.trial, pressed()
        if trial is None:
            return no_update
        what, _, about = str(button["try"]).partition(" ")
        if what in ("yes", "no"):
            trial.answer(about, what == "yes")
        elif what == "skip":
            trial.skip(about)
        elif what == "stop":
            trial.stop()
        return ""


def _connect_look(app: Dash, trials: _Trials) -> None:
    @app.callback(
        Output("bringup-first", "className"),
        Output("bringup-step", "children"),
        Output("bringup-readings", "children"),
        Output("bringup-acts", "children"),
        Output("bringup-result", "children"),
        Output("bringup-found", "children"),
        Output("bringup-shown", "data"),
        due(POLL),
        State("bringup-shown", "data"),
        running=asking(POLL),
    )
    def look(_: int | None, shown: str | None) -> tuple[Any, ...]:
        view = trials.view()
        if view is None:
            return ("", *[no_update] * 6)
        now = repr((view.message, view.question, len(view.findings), view.over))
        if now == shown:  # buttons stay, so that a tap on one is not lost; figures go on
            return (*[no_update] * 2, _readings(view.readings), *[no_update] * 4)
        return (
            "" if view.over else "hidden",
            _step(view),
            _readings(view.readings),
            _acts(view),
            _result(view),
            _found(view.findings),
            now,
        )


def _boards(context: PageContext) -> dict[str, str]:
    """Ports that may be tried, by their lasting names, with words."""
    found = {port.address: port.label for port in find_ports()}
    emulated, remembered = context.starting.emulated, context.settings().port
    if "://" in remembered:  # a board behind a network: no search finds it
        found.setdefault(remembered, remembered)
    return ({emulated: _EMULATED} if emulated else {}) | found


def _rig(context: PageContext, search: str | None) -> KnownRig:
    """The sprayer that the address names, else the one in use. Raises UserError."""
    name = asked_for(search, "rig")
    known = next((rig for rig in context.rigs() if rig.name == name), None) if name else context.chosen_rig()
    if known is None or known.rig is None:
        raise NotFoundError("set up your sprayer first, then try its board")
    return known


def _said(known: KnownRig) -> str:
    return visible(known.rig.name) if known.rig else ""


def _start(trials: _Trials, context: PageContext, known: KnownRig, port: str | None) -> None:
    """Begin a trial. Raises UserError when the port is not free, or none is there."""
    if port is None or port not in _boards(context):
        raise NotNowError("no board is plugged in: plug it in, then open this page again")
    if trials.trial is not None and not trials.trial.view().over:
        raise NotNowError("a board is being tried already, perhaps on another screen")
    recorder = recorder_at(port)
    if recorder is not None:
        run = recorder.get("run")
        raise NotNowError(f"the board is in use by run {run}: end that run first" if run else "the board is in use")
    assert known.rig is not None

    def keep(text: str) -> None:
        keep_bringup(context.runs, known.name, text, datetime.now())

    trials.trial = BoardTrial(port, known.rig, open_port, time.monotonic, keep)
    trials.trial.start()


def _step(view: TrialView) -> list[Any]:
    """What to do now, in large type."""
    if view.error:
        return [html.P(view.error, className="notice", role="alert")]
    if view.document:
        return []
    return [html.P(visible(view.question or view.message), className="headline")]


def _readings(readings: tuple[Reading, ...]) -> list[Any]:
    return [
        html.Div(
            [html.Span(reading.name), html.B(reading.value), html.Span(reading.more)],
            className="counted asked" if reading.asked else "counted",
        )
        for reading in readings
    ]


def _acts(view: TrialView) -> Any:
    if view.over:
        return []
    buttons = []
    if view.question:
        yes, no = view.buttons
        buttons = [_button(f"yes {view.question}", yes, "main"), _button(f"no {view.question}", no)]
    elif view.can_skip:
        buttons = [_button(f"skip {view.message}", "Skip this step")]
    return html.Div([*buttons, _button("stop", "Stop")], className="acts")


def _button(press: str, words: str, css: str = "") -> html.Button:
    return html.Button(words, id={"try": press}, className=css)


def _result(view: TrialView) -> list[Any]:
    if view.document is None:
        return []
    said = html.P("The result is kept with the sprayer.", className="about")
    return [answer_view(view.document), said, ways(("Calibrate", "/calibrate"), ("Plan", "/plan"), ("Rig", "/rig"))]


def _found(findings: tuple[Finding, ...]) -> list[Any]:
    """Everything looked at, the newest first."""
    if not findings:
        return []
    rows = [
        html.Li([html.B(visible(finding.what)), f": {visible(finding.seen)}"], className=str(finding.grade))
        for finding in reversed(findings)
    ]
    return [html.H2("Looked at"), html.Ul(rows, className="tried")]
