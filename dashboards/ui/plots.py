"""Plots that can be read on a phone and in print: letters of 13 pixels, units at the axes, colours from runs.css.

They are static, so that a finger on them scrolls the page; the table beside each has its numbers.
"""

from __future__ import annotations

from typing import Any

from dash import dcc

FONT = 13
_NONE = "rgba(0,0,0,0)"


def graph(figure: dict[str, Any], words: str, css: str = "") -> dcc.Graph:
    """A figure of Plotly's, in words for those who do not see it."""
    figure["layout"] |= {"meta": words}
    return dcc.Graph(
        figure=figure,
        config={"displayModeBar": False, "staticPlot": True},
        className=f"plot {css}".strip(),
        responsive=True,
        style={"height": f"{figure['layout']['height']}px"},  # without it the page jumps once Plotly is there
    )


def layout(height: int, **more: Any) -> dict[str, Any]:
    """What the layouts of all plots have in common."""
    common = {
        "height": height,
        "margin": {"l": 62, "r": 12, "t": 10, "b": 48},
        "paper_bgcolor": _NONE,
        "plot_bgcolor": _NONE,
        "font": {"size": FONT},
        "showlegend": False,
    }
    return common | more


def axis(title: str, **more: Any) -> dict[str, Any]:
    """An axis with its unit in the title."""
    return {
        "title": {"text": title, "font": {"size": FONT}, "standoff": 8},
        "zeroline": False,
        "automargin": True,
    } | more


def label(text: str, x: Any, y: Any, **more: Any) -> dict[str, Any]:
    """Text in a plot, without an arrow."""
    return {"text": text, "x": x, "y": y, "showarrow": False, "font": {"size": FONT}} | more
