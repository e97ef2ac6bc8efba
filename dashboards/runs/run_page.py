"""One run: its review, what can be taken away from it, and notes added beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from importlib.util import find_spec
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from starlette.concurrency import run_in_threadpool

from dashboards.context import PageContext
from dashboards.run_cache import RunCache
from dashboards.runs import record_form
from dashboards.runs.routes import CSV, PARQUET, REPORT, add_run_routes
from dashboards.runs.strips import along_view, strips_view
from dashboards.ui.document_view import answer_view, blocks_view, section_view
from dashboards.ui.fields import address, asked_for, entry_field, suggestions
from dashboards.ui.forms import attributes, entry_id, wrong_id
from dashboards.ui.working import working
from dashboards.web import callbacks
from dashboards.web.units_choice import shown_units
from dashboards.web.visitor import visitor_name
from host.documents.document import Document, Messages, Section
from host.documents.words import sentence
from host.errors import UserError, visible
from host.events import NOTE_LABEL_LIMIT, NOTE_MIX, NOTE_TANK_LEFT
from host.library.later_notes import add_note
from host.review.digest import PRODUCT_NOTE, SITE_NOTES
from host.review.fault_sections import FAULTS
from host.review.ground_sections import ALONG
from host.review.run_document import NOTES, PASSES, TANK, run_document
from host.review.spray_record import HEADING

FORM = "note"
COMPARE = "/compare"
USUAL = (NOTE_TANK_LEFT, NOTE_MIX, NOTE_LABEL_LIMIT, PRODUCT_NOTE, SITE_NOTES[0], "weather", "operator", "remark")
LONGEST_KEY, LONGEST_TEXT = 60, 2000
HIDDEN: tuple[Any, ...] = (
    [],
    "hidden",
    [],
    "hidden",
    *[""] * len(record_form.VALUES),
)  # what a page without a run leaves out


def layout(_: PageContext) -> html.Main:
    """The page; the run comes by callback."""
    return html.Main(
        [
            html.H1("Run", id="run-title"),
            dcc.Location(id="run-at", refresh=False),
            dcc.Store(id="run-noted", data=0),
            html.Div(
                html.P(["Reading the run … ", working(callbacks.PATH)], className="say"),
                id="run-body",
                **attributes({"aria-live": "polite"}),
            ),
            record_form.layout(),
            html.Section(
                [
                    html.H2("Notes"),
                    html.Div(id="run-notes"),
                    html.Div(
                        [
                            entry_field(FORM, "key", "What the note is about", "tank left"),
                            entry_field(FORM, "text", "Note or correction", "2 gal"),
                        ],
                        className="fields part no-print",
                    ),
                    html.Div(html.Button("Add note", id="note-add", className="main"), className="acts"),
                    html.P(id="note-said", className="notice part", role="status"),
                    html.P(
                        "Notes are kept beside the recording, which never changes. A newer note replaces an older one.",
                        className="aside no-print",
                    ),
                ],
                id="notes",
                className="hidden",
            ),
        ],
        className="sheet",
    )


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks, and the addresses of the report and the tables."""
    run_cache = context.run_cache
    server: Any = app.server
    add_run_routes(server, run_cache)
    record_form.connect(app, run_cache)

    @app.callback(
        Output("run-title", "children"),
        Output("run-body", "children"),
        Output("run-notes", "children"),
        Output("notes", "className"),
        Output(f"{FORM}-key-known", "children"),
        Output("record-form", "className"),
        *record_form.VALUES,
        Input("run-at", "search"),
        Input("run-noted", "data"),
    )
    async def show(search: str | None, _: int) -> tuple[Any, ...]:
        # Off the event loop, on which the live numbers run.
        return await run_in_threadpool(_shown, run_cache, asked_for(search, "name"))

    @app.callback(
        Output("run-strips", "children"),
        Input("run-passes", "value"),
        State("run-at", "search"),
        prevent_initial_call=True,
    )
    async def strips(first: int | None, search: str | None) -> Any:
        return await run_in_threadpool(_strips_again, run_cache, asked_for(search, "name"), first or 0)

    @app.callback(
        Output("run-noted", "data"),
        Output("note-said", "children"),
        Output(entry_id(FORM, "key"), "value"),
        Output(entry_id(FORM, "text"), "value"),
        Output(wrong_id(FORM, "key"), "children"),
        Output(wrong_id(FORM, "text"), "children"),
        Input("note-add", "n_clicks"),
        State("run-at", "search"),
        State("run-noted", "data"),
        State(entry_id(FORM, "key"), "value"),
        State(entry_id(FORM, "text"), "value"),
        prevent_initial_call=True,
    )
    async def note(_: int | None, search: str | None, count: int, key: str | None, text: str | None) -> tuple[Any, ...]:
        return await run_in_threadpool(_noted, run_cache, asked_for(search, "name"), count, key or "", text or "")


def _shown(run_cache: RunCache, name: str) -> tuple[Any, ...]:
    if not name:
        none = html.P(html.A("Pick a run", href="/runs"), className="notice")
        return "Run", none, *HIDDEN
    try:
        review = run_cache.review(name)
    except UserError as error:
        wrong = html.P(sentence(str(error)), className="notice")
        return "Run", [wrong, html.P(html.A("To the runs", href="/runs", className="go"))], *HIDDEN
    document = run_document(review, shown_units(review.rig.units))
    return (
        visible(document.title),
        _body(document, name),
        _notes(document),
        "part",
        suggestions(USUAL),
        "part",
        *record_form.values(review),
    )


def _body(document: Document, name: str) -> list[Any]:
    """The answer; what is drawn; what went wrong and the sums; the passes; the rest, folded but for the record to keep.

    What is drawn stands beside the others where there is room (document.css).
    """
    sections = [section for section in document.sections if section.key != NOTES and section.seen]
    faults, passes, rest = (
        next((place for place, section in enumerate(sections) if mark in (section.key, section.heading)), len(sections))
        for mark in (FAULTS, PASSES, TANK)
    )
    drawn = [section_view(section) for section in sections[:faults]]
    sums = [section_view(section) for section in sections[faults:passes]]
    each = [along_view(section) if section.key == ALONG else section_view(section) for section in sections[passes:rest]]
    below = [section_view(replace(section, folded=not _stays_open(section))) for section in sections[rest:]]
    return [
        answer_view(document),
        html.Div(
            [html.Div([*drawn[:1], _takeaways(name), *drawn[1:]]), html.Div(sums), html.Div(each)], className="sides"
        ),
        html.Div(below, className="spread"),
    ]


def _stays_open(section: Section) -> bool:
    """Whether it is the record to keep, or warns of something."""
    said = [message for block in section.blocks if isinstance(block, Messages) for message in block.messages]
    return section.heading == HEADING or any(message.level == "warning" for message in said)


def _notes(document: Document) -> list[Any]:
    section = document.section(NOTES)
    return blocks_view(section.blocks) if section and section.seen else [html.P("No notes yet.")]


def _takeaways(name: str) -> html.Nav:
    links = [("Printable report", REPORT), ("CSV", CSV), *([("Parquet", PARQUET)] if find_spec("pyarrow") else [])]
    rows = [html.A([words, working(path)], href=address(path, name=name), className="go") for words, path in links]
    rows.insert(1, html.A("Compare this run", href=address(COMPARE, run=name), className="go"))
    return html.Nav(rows, className="goes no-print", **attributes({"aria-label": "Of this run"}))


def _strips_again(run_cache: RunCache, name: str, first: int) -> Any:
    def strips() -> Any:
        review = run_cache.review(name)
        section = run_document(review, shown_units(review.rig.units)).section(ALONG)
        return strips_view(section, first) if section else []

    return _told(strips)


def _told(work: Callable[[], Any]) -> Any:
    try:
        return work()
    except UserError as error:
        return html.P(sentence(str(error)), className="notice")


def _noted(run_cache: RunCache, name: str, count: int, key: str, text: str) -> tuple[Any, ...]:
    key, text = " ".join(key.split()), text.strip()
    wrong_key = "" if key else "Say what the note is about, such as weather."
    if len(key) > LONGEST_KEY:
        wrong_key = f"Use at most {LONGEST_KEY} letters."
    wrong_text = "" if text else "Write the note."
    if len(text) > LONGEST_TEXT:
        wrong_text = f"Use at most {LONGEST_TEXT} letters."
    if wrong_key or wrong_text:
        return no_update, "", no_update, no_update, wrong_key, wrong_text
    try:
        add_note(run_cache.path_of(name), key, text, datetime.now().astimezone(), visitor_name())
    except UserError as error:
        return no_update, sentence(str(error)), no_update, no_update, "", ""
    return count + 1, f"Noted: {visible(key)}: {visible(text)}", "", "", "", ""
