"""Labelled numbers as both planning pages show them."""

from __future__ import annotations

from collections.abc import Iterable

from dash import html


def figures(rows: Iterable[tuple[str, str]]) -> html.Dl:
    """Name and value of each."""
    return html.Dl(
        [html.Div([html.Dt(name), html.Dd(value)]) for name, value in rows],
        className="figures-list",
    )


def remarks(sentences: Iterable[str], warn: bool = False) -> html.Ul:
    """Sentences below a result."""
    return html.Ul([html.Li(words) for words in sentences], className="remarks warn" if warn else "remarks")
