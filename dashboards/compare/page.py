"""Compare: a run against its catch test, two runs, or a rig's season against itself."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from dash import ALL, Dash, Input, Output, State, dcc, html, no_update
from fastapi import Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse

from dashboards.context import PageContext
from dashboards.run_cache import RunCache
from dashboards.ui.document_view import document_view
from dashboards.ui.fields import address, asked_for, entry_field, read_day, suggestions
from dashboards.ui.forms import Entries, WrongEntriesError, chips, entry_id, wrong_id
from dashboards.ui.polling import asking, connect_polls, due, polls, timer
from dashboards.ui.presses import pressed
from dashboards.ui.refusal import refused
from dashboards.ui.ways import ways
from dashboards.ui.working import working
from dashboards.web import callbacks
from dashboards.web.page_server import Cost, PageServer
from dashboards.web.units_choice import shown_units
from dashboards.web.visitor import visitor_name
from host.documents.document import Document, quantity
from host.documents.words import format_day, plural, sentence
from host.errors import BadInputError, NotFoundError, UserError, visible
from host.events import NOTE_REFILL
from host.library import Entry
from host.library.later_notes import add_note
from host.library.library import Wanted, problems
from host.library.runs_document import runs_section, units_of
from host.review.card_marks import marks_in
from host.review.compare import NoCatchTestError
from host.review.comparison_document import catch_comparison, run_comparison
from host.review.report import format_report
from host.review.season import Season, season_of
from host.review.season_document import season_document

FORM = "compare"
KINDS = {"catch": "Run and catch test", "runs": "Two runs", "season": "A season"}
FIELDS = ("run", "earlier", "later", "rig", "first", "last")
CHOSEN = FIELDS[:4]  # from what there is
SHOWN = {"catch": ("run",), "runs": ("earlier", "later"), "season": ("rig", "first", "last")}
SEASON_REPORT = "/compare/report"
PATIENCE_S = 2.0
LOOK_MS = 1500
POLL = "compare"


@dataclass(frozen=True)
class Asked:
    """Which runs a season is made of."""

    rig: str
    first_day: str
    last_day: str


def layout(_: PageContext) -> html.Main:
    """The page; what there is to choose from comes by callback."""
    labels = {
        "run": "Run",
        "earlier": "Earlier run",
        "later": "Later run",
        "rig": "Rig",
        "first": "From day",
        "last": "To day",
    }
    return html.Main(
        [
            html.H1("Compare"),
            dcc.Location(id="compare-at", refresh=False),
            *polls(POLL, LOOK_MS, disabled=True),
            html.Div(
                [
                    chips("compare-kind", "What is compared", KINDS, "catch"),
                    html.Div(
                        [
                            html.Div(
                                entry_field(FORM, name, words, "2026-04-01" if name in ("first", "last") else ""),
                                id=f"compare-{name}",
                                className="hidden",
                            )
                            for name, words in labels.items()
                        ],
                        className="fields part",
                    ),
                    html.Div(
                        [html.Button("Compare", id="compare-go", className="main"), working(callbacks.PATH)],
                        className="acts",
                    ),
                ],
                className="no-print",
            ),
            html.P(id="compare-trouble", className="notice part", role="status"),
            dcc.Store(id="compare-noted", data=0),
            html.P(id="compare-said", className="notice part", role="status"),
            html.P(id="compare-refill", className="notice part", role="status"),
            html.Div(id="compare-result", className="result part"),
        ],
        className="sheet",
    )


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks, and the address of a season's report."""
    run_cache, cards = context.run_cache, context.cards
    server: Any = app.server
    _add_report(server, run_cache, cards)
    connect_polls(app, POLL)

    @app.callback(
        Output("compare-kind", "value"),
        *(Output(entry_id(FORM, name), "value") for name in CHOSEN),
        *(Output(f"{FORM}-{name}-known", "children") for name in CHOSEN),
        Output(timer(POLL), "disabled"),
        Output("compare-trouble", "children"),
        Input("compare-at", "search"),
        due(POLL),
        *(State(entry_id(FORM, name), "value") for name in CHOSEN),
        running=asking(POLL),
    )
    async def choose(search: str | None, looks: int | None, *given: str | None) -> tuple[Any, ...]:
        # Off the event loop, on which the live numbers run.
        return await run_in_threadpool(_choices, run_cache, asked_for(search, "run"), looks or 0, given)

    @app.callback(
        *(Output(f"compare-{name}", "className") for name in FIELDS),
        Input("compare-kind", "value"),
    )
    def fields(kind: str) -> list[str]:
        return ["" if name in SHOWN.get(kind, ()) else "hidden" for name in FIELDS]

    @app.callback(
        Output("compare-result", "children"),
        Output("compare-said", "children"),
        *(Output(wrong_id(FORM, name), "children") for name in FIELDS),
        Input("compare-go", "n_clicks"),
        Input("compare-kind", "value"),
        Input("compare-noted", "data"),
        *(Input(entry_id(FORM, name), "value") for name in FIELDS),
    )
    async def compare(_: int | None, kind: str, _noted: int, *typed: str | None) -> tuple[Any, ...]:
        return await run_in_threadpool(_compared, run_cache, cards, kind, dict(zip(FIELDS, typed, strict=True)))

    @app.callback(
        Output("compare-noted", "data"),
        Output("compare-refill", "children"),
        Input({"refill_of": ALL, "volume": ALL}, "n_clicks"),
        State("compare-noted", "data"),
        prevent_initial_call=True,
    )
    async def record_refill(_: list[int | None], count: int) -> tuple[Any, ...]:
        button = pressed()
        return await run_in_threadpool(_recorded, run_cache, str(button["refill_of"]), str(button["volume"]), count)


def _choices(run_cache: RunCache, run: str, looks: int, given: tuple[str | None, ...]) -> tuple[Any, ...]:
    """Kind, values, suggestions, whether all is read, what is in the way: what the address asks for, else the newest
    runs; what somebody has typed stays."""
    try:
        look = run_cache.look(PATIENCE_S)
    except UserError as error:
        return (*(no_update,) * (1 + 2 * len(CHOSEN)), False, sentence(str(error)))
    read = [(visible(run_cache.name_of(entry.path)), entry.digest) for entry in reversed(look.entries) if entry.digest]
    names, rigs = [name for name, _ in read], list(dict.fromkeys(one.rig for _, one in read))
    # Of runs without steady spraying nothing can be compared: they can be chosen, and are not proposed.
    steady = [name for name, one in read if one.steady is not None] or names
    newest = [*steady[:1], ""][0]
    before = next((name for name in steady if name not in (run, newest)), "")
    wanted = (run or newest, run if run and run != newest else before, newest, [*rigs, ""][0])
    values = [no_update if old or not value else value for value, old in zip(wanted, given, strict=True)]
    known = (suggestions(names),) * 3 + (suggestions(rigs),)
    return ("catch" if run and not looks else no_update, *values, *known, not look.unread, "")


def _compared(run_cache: RunCache, cards: Path, kind: str, typed: dict[str, str | None]) -> tuple[Any, ...]:
    entries = Entries(typed)
    none = ("",) * len(FIELDS)
    if kind not in KINDS or not entries.given(SHOWN[kind][0]):
        return [], "", *none
    try:
        if kind == "season":
            return _season(run_cache, cards, entries), "", *none
        names = [entries.need(name, lambda text: _named(run_cache, text), "Choose a run.") for name in SHOWN[kind]]
        entries.check()
        reviews = [run_cache.review(str(name)) for name in names]
        system = shown_units(reviews[0].rig.units)
        if kind == "catch":
            return _shown(catch_comparison(reviews[0], cards, system)), "", *none
        return _shown(run_comparison(reviews[0], reviews[1], system)), "", *none
    except WrongEntriesError as error:
        return [], "", *(error.sentences.get(name, "") for name in FIELDS)
    except UserError as error:
        way, said = [], sentence(str(error))
        if isinstance(error, NoCatchTestError):  # the folder that it names is nothing to a phone
            way, said = [ways(("Do a catch test", "/calibrate"))], "This sprayer has no catch test yet: do one first."
        return way, said, *none


def _shown(document: Document) -> list[Any]:
    return [html.P(visible(document.title), className="part"), *document_view(document)]


def _named(run_cache: RunCache, text: str) -> str:
    """The run that is meant: its whole name, or a part of only one."""
    names = [run_cache.name_of(entry.path) for entry in run_cache.look(PATIENCE_S).entries]
    if text in names:
        return text
    found = [name for name in names if text.lower() in name.lower()]
    if len(found) == 1:
        return found[0]
    if found:
        raise BadInputError(
            f'"{text[:80]}" is in the names of {len(found)} runs: choose one of those that are suggested'
        )
    raise NotFoundError(f'there is no run "{text[:80]}": choose one of those that are suggested')


def _season(run_cache: RunCache, cards: Path, entries: Entries) -> list[Any]:
    asked = _read_asked(entries)
    look = run_cache.look(PATIENCE_S)
    season, mine = _season_of(look.entries, asked, cards)
    system = shown_units(units_of(mine))
    report = address(SEASON_REPORT, rig=asked.rig, first=asked.first_day, last=asked.last_day)
    unread = f"{plural(len(look.unread), 'file')} not read yet: compare again in a moment."
    return [
        *([html.P(unread, className="notice")] if look.unread else []),
        *_shown(season_document(season, system)),
        *_refills(season, mine, run_cache, system),
        html.Div(
            html.A(["Printable report of the season", working(SEASON_REPORT)], href=report, className="go"),
            className="goes no-print",
        ),
    ]


def _refills(season: Season, mine: list[Entry], run_cache: RunCache, system: str) -> list[Any]:
    """A button for each refill that the season asks about, to record it with one tap."""
    by_start = {entry.digest.started: run_cache.name_of(entry.path) for entry in mine if entry.digest}
    buttons = []
    for finding in season.findings:
        name = by_start.get(finding.started)
        if finding.missing_m3 is None or name is None:
            continue
        volume = quantity(finding.missing_m3, "volume", system).text
        label = f"Record the refill of {volume} on {format_day(finding.first_day, time=False)}"
        buttons.append(html.Button(label, id={"refill_of": name, "volume": volume}))
    return [html.Div(buttons, className="acts no-print")] if buttons else []


def _recorded(run_cache: RunCache, name: str, volume: str, count: int) -> tuple[Any, str]:
    try:
        add_note(run_cache.path_of(name), NOTE_REFILL, volume, datetime.now().astimezone(), visitor_name())
    except UserError as error:
        return no_update, sentence(str(error))
    back = f"To take it back, add the note {NOTE_REFILL}: 0 L to the run."
    return count + 1, f"Refill of {volume} recorded with {visible(name)}. {back}"


def _read_asked(entries: Entries) -> Asked:
    rig = entries.need("rig", str, "Choose a rig.")
    first = entries.read("first", lambda text: read_day(text, "The first day"))
    last = entries.read("last", lambda text: read_day(text, "The last day"))
    entries.check()
    return Asked(rig or "", first or "", last or "")


def _season_of(entries: list[Entry], asked: Asked, cards: Path) -> tuple[Season, list[Entry]]:
    """The season and its runs. Raises UserError when there is none."""
    wanted = Wanted(first_day=asked.first_day, last_day=asked.last_day)
    mine = [one for one in entries if one.digest and visible(one.digest.rig) == asked.rig and wanted.takes(one)]
    if not mine:
        raise NotFoundError("there is no run of this rig in these days: choose a rig that is suggested, or other days")
    digests = [one.digest for one in mine if one.digest]
    marks, bad = marks_in(cards, digests[-1].rig)
    unread = problems(entry for entry in entries if entry.digest is None)
    told = [f"not read: {problem}" for problem in (*unread, *bad)]
    return season_of(digests, marks, told), mine


def _add_report(server: PageServer, run_cache: RunCache, cards: Path) -> None:
    # A plain function: the server calls it off its event loop.
    def report(request: Request) -> Response:
        query = request.url.query
        try:
            asked = _read_asked(Entries({name: asked_for(query, name) for name in ("rig", "first", "last")}))
            season, runs = _season_of(run_cache.look(PATIENCE_S).entries, asked, cards)
            system = shown_units(units_of(runs))
            table = runs_section(runs, run_cache.folder, system)
            return HTMLResponse(format_report(season_document(season, system), datetime.now(), [table]))
        except WrongEntriesError as error:
            return refused(BadInputError(str(error)))
        except UserError as error:
            return refused(error)

    server.declare("GET", SEASON_REPORT, report, Cost.LONG, changes=False)
