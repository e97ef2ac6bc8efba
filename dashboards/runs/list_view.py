"""The runs of the folder as cards, newest first, and the files that cannot be read with their sentences."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from dash import html

from dashboards.ui.fields import address, day_words, plain
from dashboards.ui.forms import sentence
from host.library import Entry
from host.review.digest import Digest
from host.units import format_value

RUN = "/run"


def units_of(entries: Sequence[Entry]) -> str:
    """The units of the newest run; metric where there is none."""
    return next((entry.digest.units for entry in reversed(entries) if entry.digest), "metric")


def totals_words(entries: Sequence[Entry], system: str) -> str:
    """How many runs, and what was sprayed on which area in all of them."""
    read = [entry.digest for entry in entries if entry.digest]
    volume = format_value(sum(one.volume_m3 for one in read), "volume", system)
    area = sum(one.area_m2 for one in read)
    whole = f"{format_value(area, 'area', system)} ({format_value(area, 'field_area', system)})"
    return f"{len(read)} run{'' if len(read) == 1 else 's'}: {volume} on {whole}"


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
    def show(value: float | None, kind: str) -> str:
        return format_value(value, kind, one.units)

    signs = []
    if recording:
        signs.append("being recorded")
    elif not one.complete:
        signs.append("not complete")
    if one.faults:
        signs.append(f"{one.faults} fault{'' if one.faults == 1 else 's'}")
    if one.over_limit:
        signs.append("over the label's limit")
    what = " · ".join(plain(words) for words in (one.site, one.product) if words)
    rate = f"{show(one.rate_m3_m2, 'rate')} (target {show(one.target_m3_m2, 'rate').split(' ')[0]})"
    body: list[Any] = [
        html.A(day_words(one.started), href=address(RUN, name=name), className="run-open"),
        html.Span(what or plain(name), className="run-what"),
        html.Span(plain(one.rig), className="run-rig"),
        html.Span(f"{show(one.volume_m3, 'volume')} on {show(one.area_m2, 'area')}", className="run-much"),
        html.Span(rate if one.rate_m3_m2 is not None else "nothing sprayed on the move", className="run-rate"),
        html.Span([html.B(words) for words in signs], className="run-signs"),
        html.A(
            ["Add note", html.Span(f" to the run of {day_words(one.started)}", className="unseen")],
            href=address(RUN, name=name) + "#notes",
            className="run-note",
        ),
    ]
    if entry.problem:
        body.append(html.Span(plain(sentence(entry.problem)), className="run-problem"))
    return html.Li(body, className="run")


def unreadable(entries: Sequence[Entry], name_of: Callable[[Path], str]) -> list[Any]:
    """The files that are no run that can be read, each with its sentence; nothing where there is none."""
    bad = [entry for entry in entries if entry.digest is None]
    if not bad:
        return []
    rows = [
        html.Li([html.B(plain(name_of(entry.path)) + ": "), plain(sentence(entry.problem))], className="bad-file")
        for entry in bad
    ]
    heading = f"{len(bad)} file{'' if len(bad) == 1 else 's'} that cannot be read"
    return [html.H2(heading), html.Ul(rows, className="bad-files")]
