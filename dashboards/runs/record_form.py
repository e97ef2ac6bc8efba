"""The fields of the record that only people know, filled in or corrected after the run."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from dash import Dash, Input, Output, State, html, no_update
from starlette.concurrency import run_in_threadpool

from dashboards.run_cache import RunCache
from dashboards.ui.fields import asked_for, entry_field
from dashboards.ui.forms import entry_id, wrong_id
from dashboards.web.visitor import visitor_name
from host.documents.words import listed, sentence
from host.errors import UserError
from host.library.later_notes import add_note
from host.review.review import Review
from host.review.spray_record import RECORD_FIELDS, noted

FORM = "record"
LONGEST = 300
VALUES = [Output(entry_id(FORM, field.key), "value") for field in RECORD_FIELDS]


def layout() -> html.Details:
    """The form, folded below the record that it fills in."""
    fields = [entry_field(FORM, field.key, field.label, field.example) for field in RECORD_FIELDS]
    return html.Details(
        [
            html.Summary("Fill in or correct the record"),
            html.Div(fields, className="fields part"),
            html.Div(html.Button("Save record", id="record-save", className="main"), className="acts"),
            html.P(id="record-said", className="notice part", role="status"),
        ],
        id="record-form",
        className="hidden",
    )


def values(review: Review) -> list[str]:
    """What stands in each field."""
    return [noted(review, field) for field in RECORD_FIELDS]


def connect(app: Dash, run_cache: RunCache) -> None:
    """Saving; `run-noted` counts up, so that the page shows the record anew."""

    @app.callback(
        Output("run-noted", "data", allow_duplicate=True),
        Output("record-said", "children"),
        *(Output(wrong_id(FORM, field.key), "children") for field in RECORD_FIELDS),
        Input("record-save", "n_clicks"),
        State("run-at", "search"),
        State("run-noted", "data"),
        *(State(entry_id(FORM, field.key), "value") for field in RECORD_FIELDS),
        prevent_initial_call=True,
    )
    async def save(_: int | None, search: str | None, count: int, *typed: str | None) -> tuple[Any, ...]:
        return await run_in_threadpool(_saved, run_cache, asked_for(search, "name"), count, typed)


def _saved(run_cache: RunCache, name: str, count: int, typed: Sequence[str | None]) -> tuple[Any, ...]:
    texts = [" ".join((text or "").split()) for text in typed]
    wrong = [f"Use at most {LONGEST} letters." if len(text) > LONGEST else "" for text in texts]
    if any(wrong):
        return no_update, "Nothing was saved: see the field.", *wrong
    try:
        review = run_cache.review(name)
        changed = [
            (field, text) for field, text in zip(RECORD_FIELDS, texts, strict=True) if text != noted(review, field)
        ]
        for field, text in changed:
            add_note(run_cache.path_of(name), field.key, text, datetime.now().astimezone(), visitor_name())
    except UserError as error:
        return no_update, sentence(str(error)), *wrong
    if not changed:
        return no_update, "Nothing was changed.", *wrong
    return count + 1, f"Saved: {listed([field.label.lower() for field, _ in changed])}.", *wrong
