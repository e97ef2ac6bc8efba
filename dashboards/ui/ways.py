"""Where to go from here: buttons that lead to other pages."""

from __future__ import annotations

from dash import html


def ways(*steps: tuple[str, str]) -> html.Div:
    """A button for each (words, address), side by side, at the end of a page."""
    return html.Div([html.A(words, href=to, className="press") for words, to in steps], className="acts part no-print")


def rig_line(said: str, own: bool) -> html.P:
    """Which sprayer a page is about; where it is only an example, the way to one's own."""
    return html.P([said] if own else [f"{said} ", html.A("Set up my sprayer", href="/setup")], className="rig")
