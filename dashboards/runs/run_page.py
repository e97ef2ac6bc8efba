"""One run: its review, what can be taken away from it, and notes added beside it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from importlib.util import find_spec
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from starlette.concurrency import run_in_threadpool

from dashboards.context import Surroundings
from dashboards.runs import run_view
from dashboards.runs.routes import CSV, PARQUET, REPORT, add_run_routes
from dashboards.runs.run_cache import Shelf
from dashboards.runs.strips import groups, strips_shown, target_words
from dashboards.ui.fields import address, asked_for, entry_field, plain, suggestions
from dashboards.ui.forms import attributes, entry_id, sentence, wrong_id
from host.errors import UserError
from host.events import NOTE_LABEL_LIMIT, NOTE_MIX, NOTE_TANK_LEFT
from host.library.later_notes import add_note
from host.review.digest import PRODUCT_NOTE, SITE_NOTES
from host.review.review import Review

FORM = "note"
COMPARE = "/compare"
USUAL = (NOTE_TANK_LEFT, NOTE_MIX, NOTE_LABEL_LIMIT, PRODUCT_NOTE, SITE_NOTES[0], "weather", "operator", "remark")
LONGEST_KEY, LONGEST_TEXT = 60, 2000


def layout(_: Surroundings) -> html.Main:
    """The page; the run comes by callback."""
    return html.Main(
        [
            html.H1("Run"),
            dcc.Location(id="run-at", refresh=False),
            dcc.Store(id="run-noted", data=0),
            html.Div(
                html.P("Reading the run …", className="say"), id="run-body", **attributes({"aria-live": "polite"})
            ),
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
                        "A note stands beside the run; the recording itself stays as it is. A later note of the same "
                        "kind stands for an earlier one.",
                        className="aside no-print",
                    ),
                ],
                id="notes",
                className="hidden",
            ),
        ],
        className="sheet",
    )


def connect(app: Dash, surroundings: Surroundings) -> None:
    """The page's callbacks, and the addresses of the report and the tables."""
    shelf = surroundings.shelf
    server: Any = app.server
    add_run_routes(server, shelf)

    @app.callback(
        Output("run-body", "children"),
        Output("run-notes", "children"),
        Output("notes", "className"),
        Output(f"{FORM}-key-known", "children"),
        Input("run-at", "search"),
        Input("run-noted", "data"),
    )
    async def show(search: str | None, _: int) -> tuple[Any, ...]:
        # Off the event loop, on which the live numbers run.
        return await run_in_threadpool(_shown, shelf, asked_for(search, "name"))

    @app.callback(
        Output("run-strips", "children"),
        Input("run-passes", "value"),
        State("run-at", "search"),
        prevent_initial_call=True,
    )
    async def strips(first: int | None, search: str | None) -> Any:
        return await run_in_threadpool(_strips_again, shelf, asked_for(search, "name"), first or 1)

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
        return await run_in_threadpool(_noted, shelf, asked_for(search, "name"), count, key or "", text or "")


def _shown(shelf: Shelf, name: str) -> tuple[Any, ...]:
    if not name:
        none = html.P(["No run is named. ", html.A("Choose one from Runs", href="/runs")], className="notice")
        return none, [], "hidden", []
    try:
        review = shelf.review(name)
    except UserError as error:
        wrong = html.P(plain(sentence(str(error))), className="notice")
        return [wrong, html.P(html.A("To the runs", href="/runs", className="go"))], [], "hidden", []
    return _body(review, name), run_view.notes(review), "part", suggestions(USUAL)


def _body(review: Review, name: str) -> list[Any]:
    system = review.rig.units
    strips = review.strips
    stretches = review.stretches(strips)
    return [
        html.Section(run_view.headline(review, system)),
        _takeaways(name),
        _section("Faults", run_view.faults(review, system)),
        _section("Passes", run_view.passes(review, strips, system)),
        _section(
            "Rate along each pass",
            [
                html.P(f"The shaded lane is the target, {target_words(review.rig.target, system)}.", className="aside"),
                *_pass_choice(groups(strips)),
                html.Div(_strips(review, 1), id="run-strips"),
            ],
        ),
        _section("Off target along the distance", run_view.off_target(stretches, review, system)),
        _section("Sprayed while standing", run_view.standing(review, system)),
        _section("Tank", run_view.tank(review, system)),
        _section("Recording", run_view.health(review)),
    ]


def _section(heading: str, content: list[Any]) -> html.Section:
    return html.Section([html.H2(heading), *content], className="part")


def _takeaways(name: str) -> html.Nav:
    links = [("Printable report", address(REPORT, name=name)), ("Compare this run", address(COMPARE, run=name))]
    links.append(("CSV", address(CSV, name=name)))
    if find_spec("pyarrow"):
        links.append(("Parquet", address(PARQUET, name=name)))
    rows = [html.A(words, href=href, className="go") for words, href in links]
    return html.Nav(rows, className="goes no-print", **attributes({"aria-label": "Of this run"}))


def _pass_choice(known: list[tuple[int, int]]) -> list[Any]:
    if len(known) < 2:
        return []
    options: Any = [{"label": f"{first} to {last}", "value": first} for first, last in known]
    chips = dcc.RadioItems(id="run-passes", options=options, value=known[0][0], className="chips")
    return [
        html.Div(
            [html.P("Passes", className="name"), chips],
            className="choice no-print",
            role="group",
            **attributes({"aria-label": "Passes"}),
        )
    ]


def _strips(review: Review, first: int) -> list[Any]:
    known = groups(review.strips)
    last = next((last for begin, last in known if begin == first), known[0][1] if known else 0)
    strips = [strip for strip in review.strips if first <= strip.number <= last]
    return strips_shown(strips, review.stretches(strips), review.rig.target, review.rig.units)


def _strips_again(shelf: Shelf, name: str, first: int) -> Any:
    return _told(lambda: _strips(shelf.review(name), first))


def _told(work: Callable[[], Any]) -> Any:
    try:
        return work()
    except UserError as error:
        return html.P(plain(sentence(str(error))), className="notice")


def _noted(shelf: Shelf, name: str, count: int, key: str, text: str) -> tuple[Any, ...]:
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
        add_note(shelf.path_of(name), key, text, datetime.now().astimezone())
    except UserError as error:
        return no_update, plain(sentence(str(error))), no_update, no_update, "", ""
    return count + 1, f"Noted: {plain(key)}: {plain(text)}", "", "", "", ""
