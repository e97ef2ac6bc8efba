"""The runs of the folder as cards, newest first, and the files that cannot be read with their sentences."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

from dash import html

from dashboards.ui.fields import address
from dashboards.web.units_choice import shown_units
from host.documents.ground_svg import format_small_ground
from host.documents.words import format_day, plural, sentence
from host.errors import visible
from host.library import Entry
from host.library.runs_document import RECORDING, applied_words, rate_words, signs
from host.review.digest import Digest

RUN = "/run"


def cards(
    entries: Sequence[Entry], name_of: Callable[[Path], str], recording: Callable[[Entry], bool]
) -> list[html.Li]:
    """One card for each entry with a digest, in the order given."""
    return [
        _card(entry, entry.digest, name_of(entry.path), recording(entry))
        for entry in entries
        if entry.digest is not None
    ]


def _card(entry: Entry, one: Digest, name: str, recording: bool) -> html.Li:
    what = " · ".join(visible(words) for words in (one.site, one.product) if words)
    source = "data:image/svg+xml," + quote(format_small_ground(one.ground))
    body: list[Any] = [
        html.A(format_day(one.started), href=address(RUN, name=name), className="run-open"),
        html.Span(what or visible(name), className="run-what"),
        html.Span(visible(one.rig), className="run-rig"),
        html.Span(applied_words(one, shown_units(one.units)), className="run-much"),
        html.Span(rate_words(one, shown_units(one.units)), className="run-rate"),
        html.Span(
            [html.B(words, className="now" if words == RECORDING else "") for words in signs(one, recording=recording)],
            className="run-signs",
        ),
        html.Img(src=source, alt="", className="run-ground") if one.ground else html.Span(className="run-ground"),
        html.A(
            ["Add note", html.Span(f" to the run of {format_day(one.started)}", className="unseen")],
            href=address(RUN, name=name) + "#notes",
            className="run-note",
        ),
    ]
    if entry.problem:
        body.append(html.Span(visible(sentence(entry.problem)), className="run-problem"))
    return html.Li(body, className="run")


def unreadable(entries: Sequence[Entry], name_of: Callable[[Path], str]) -> list[Any]:
    """The files that are no run that can be read, each with its sentence; nothing where there is none."""
    bad = [entry for entry in entries if entry.digest is None]
    if not bad:
        return []
    rows = [
        html.Li([html.B(visible(name_of(entry.path)) + ": "), visible(sentence(entry.problem))], className="bad-file")
        for entry in bad
    ]
    heading = f"{plural(len(bad), 'file')} that cannot be read"
    return [html.H2(heading), html.Ul(rows, className="bad-files")]
