"""Where to go from here: buttons that lead to other pages."""

from __future__ import annotations

from dash import html


def ways(*steps: tuple[str, str]) -> html.Div:
    """A button for each (words, address), side by side, at the end of a page."""
    return html.Div([html.A(words, href=to, className="press") for words, to in steps], className="acts part no-print")
