"""Runs: the library, newest first, searched and filtered; new files are read in the background."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, html
from starlette.concurrency import run_in_threadpool

from dashboards.context import PageContext
from dashboards.run_cache import Look, RunCache
from dashboards.runs.list_view import cards, unreadable
from dashboards.ui.fields import entry_field, read_day, suggestions
from dashboards.ui.forms import Entries, WrongEntriesError, entry_id, wrong_id
from dashboards.ui.polling import asking, connect_polls, due, polls, timer
from dashboards.web.units_choice import shown_units
from host.documents.words import plural, sentence
from host.errors import UserError
from host.library import Entry
from host.library.library import Wanted
from host.library.runs_document import totals_words, units_of

FORM = "runs"
FIELDS = ("text", "site", "product", "rig", "first", "last")
SUGGESTED = ("site", "product", "rig")
STEP = 30  # runs shown at first, and more at each tap
PATIENCE_S = 0.8
POLL = "runs"
LOOK_MS = 1500  # while files are being read


def layout(_: PageContext) -> html.Main:
    """The page; the runs come by callback."""
    return html.Main(
        [
            html.H1("Runs"),
            *polls(POLL, LOOK_MS, disabled=True),
            html.Div(
                [
                    entry_field(FORM, "text", "Search names and notes", "lawn", kind="search", waits=False),
                    html.Details(
                        [
                            html.Summary("Filter by site, product, rig, days"),
                            html.Div(
                                [
                                    entry_field(FORM, "site", "Site"),
                                    entry_field(FORM, "product", "Product"),
                                    entry_field(FORM, "rig", "Rig"),
                                    entry_field(FORM, "first", "From day", "2026-04-01"),
                                    entry_field(FORM, "last", "To day", "2026-04-01"),
                                ],
                                className="fields",
                            ),
                        ],
                        className="filter",
                    ),
                ],
                className="no-print",
            ),
            html.P(id="runs-totals", className="headline part", role="status"),
            html.Div(id="runs-progress", className="progress", role="status"),
            html.Ul(id="runs-list", className="runs"),
            html.Div(html.Button("Show more", id="runs-more"), id="runs-acts", className="hidden"),
            html.Section(id="runs-bad", className="part"),
        ],
        className="sheet",
    )


def connect(app: Dash, context: PageContext) -> None:
    """The page's callback."""
    run_cache = context.run_cache
    connect_polls(app, POLL)

    @app.callback(
        Output("runs-totals", "children"),
        Output("runs-progress", "children"),
        Output("runs-list", "children"),
        Output("runs-acts", "className"),
        Output("runs-bad", "children"),
        Output(timer(POLL), "disabled"),
        *(Output(f"{FORM}-{name}-known", "children") for name in SUGGESTED),
        *(Output(wrong_id(FORM, name), "children") for name in FIELDS),
        due(POLL),
        Input("runs-more", "n_clicks"),
        *(Input(entry_id(FORM, name), "value") for name in FIELDS),
        running=asking(POLL),
    )
    async def listed(_: int | None, more: int | None, *typed: str | None) -> tuple[Any, ...]:
        # Off the event loop, on which the live numbers run.
        return await run_in_threadpool(_listed, run_cache, more or 0, dict(zip(FIELDS, typed, strict=True)))


def _listed(run_cache: RunCache, more: int, typed: dict[str, str | None]) -> tuple[Any, ...]:
    wrong: dict[str, str] = {}
    try:
        wanted = _wanted(typed)
    except WrongEntriesError as error:
        wrong, wanted = error.sentences, Wanted()
    try:
        look = run_cache.look(PATIENCE_S)
    except UserError as error:
        return (sentence(str(error)), [], [], "hidden", [], True, *([],) * len(SUGGESTED), *_wrong(wrong))
    found = [entry for entry in look.entries if wanted.takes(entry)]
    newest = [entry for entry in reversed(found) if entry.digest]
    shown = newest[: STEP * (1 + more)]
    return (
        _totals(look, found, filtered=wanted != Wanted()),
        _progress(look),
        cards(shown, run_cache.name_of, run_cache.is_recording),
        "acts" if len(newest) > len(shown) else "hidden",
        unreadable(found, run_cache.name_of),
        not look.unread,
        *_known(look.entries),
        *_wrong(wrong),
    )


def _wrong(sentences: dict[str, str]) -> list[str]:
    return [sentences.get(name, "") for name in FIELDS]


def _wanted(typed: dict[str, str | None]) -> Wanted:
    entries = Entries(typed)
    first = entries.read("first", lambda text: read_day(text, "The first day"))
    last = entries.read("last", lambda text: read_day(text, "The last day"))
    entries.check()
    text, site, product, rig = ((typed[name] or "").strip() for name in ("text", "site", "product", "rig"))
    return Wanted(site, product, rig, text, first or "", last or "")


def _totals(look: Look, found: list[Entry], *, filtered: bool) -> str:
    if not look.entries and look.unread:
        return ""
    read = sum(entry.digest is not None for entry in look.entries)
    return totals_words(found, shown_units(units_of(look.entries)), of=read if filtered else None)


def _progress(look: Look) -> list[Any]:
    if not look.unread:
        return []
    files = plural(look.whole, "new or changed file")
    return [
        html.Label(
            [f"Reading {files}, {look.done} done. ", html.Progress(value=str(look.done), max=str(max(look.whole, 1)))]
        )
    ]


def _known(entries: list[Entry]) -> list[Any]:
    digests = [entry.digest for entry in reversed(entries) if entry.digest]
    return [suggestions(getattr(one, name) for one in digests) for name in SUGGESTED]
