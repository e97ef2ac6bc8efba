"""Plots that can be read on a phone and in print: letters of 13 pixels, units at the axes, colours from runs.css.

They are static, so that a finger on them scrolls the page; the table beside each has its numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from html import escape
from typing import Any

from dash import dcc

from host.documents.document import Plot, Series
from host.documents.svg import end_labels, legend, named_at_ends, ranges, room_for
from host.errors import visible

FONT = 13
_NONE = "rgba(0,0,0,0)"
_SINGLE, _ROW = 260, 150  # pixels of height of a plot by itself, and of one of several
_NAME, _NUMBERS = 24, 26  # of these: its name above, and the numbers below
_BELOW, _TOP_MARKED, _LINE = 48, 40, 15
_YEAR_DAYS = 330  # of a longer time the days of the month are not marked
_DASHES = ("solid", "dash", "dot", "dashdot", "longdash")


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


def figure_of(plots: Sequence[Plot]) -> dict[str, Any] | None:
    """Plots below one another, each with its own y, in one figure of Plotly's; None when there is nothing to draw.

    Colours come from runs.css; here they only have to be there.
    """
    drawn = [plot for plot in plots if any(math.isfinite(y) for series in plot.series for _, y in series.points)]
    if not drawn:
        return None
    single = len(drawn) == 1
    row_height, named = (_SINGLE, 0) if single else (_ROW, _NAME)
    top = _TOP_MARKED if single and drawn[0].marks else 10
    height = row_height * len(drawn) + _BELOW + top
    inner = row_height * len(drawn)
    figure: dict[str, Any] = {"data": [], "layout": layout(height, shapes=[], annotations=[])}
    numbers = 0 if drawn[0].x_range and len({plot.x_range for plot in drawn}) == 1 else _NUMBERS  # one axis below all
    names = [end_labels(plot, row_height) for plot in drawn]
    figure["layout"]["margin"] |= {"t": top, "b": _BELOW, "r": 12 + max(map(room_for, names))}
    for row, plot in enumerate(drawn):
        place = "" if row == 0 else str(row + 1)
        last = row == len(drawn) - 1
        domain = [
            1 - ((row + 1) * row_height - (0 if last else numbers)) / inner,
            1 - (row * row_height + named) / inner,
        ]
        _put_axes(figure["layout"], plot, place, domain, last=last, named=not single)
        figure["layout"]["xaxis" + place]["showticklabels"] = last or numbers > 0
        for number, series in enumerate(plot.series):
            # Of one style the second looks different from the first, whatever else is drawn.
            alike = sum(other.style == series.style for other in plot.series[:number])
            figure["data"].append(_trace(series, alike, plot) | {"xaxis": "x" + place, "yaxis": "y" + place})
        figure["layout"]["shapes"] += _shapes(plot, place)
        figure["layout"]["annotations"] += _labels(plot, place, named=not single)
        at = {"xref": "x" + place, "yref": "y" + place, "xanchor": "left", "yanchor": "middle", "xshift": 3}
        figure["layout"]["annotations"] += [label(escape(visible(name)), x, y, **at) for x, y, name in names[row]]
    if any(len(legend(plot)) > 1 for plot in drawn):
        figure["layout"] |= {"showlegend": True, "legend": {"orientation": "h", "x": 0, "y": 1, "yanchor": "bottom"}}
        figure["layout"]["margin"]["t"] = top + _TOP_MARKED
        figure["layout"]["height"] += _TOP_MARKED
    return figure


def _put_axes(layout_: dict[str, Any], plot: Plot, place: str, domain: list[float], *, last: bool, named: bool) -> None:
    x_range, y_range = ranges(plot)
    x: dict[str, Any] = {"range": [_x(plot, x_range[0]), _x(plot, x_range[1])], "nticks": 7}
    if plot.x_names:
        x |= {"tickvals": list(range(len(plot.x_names))), "ticktext": [visible(name) for name in plot.x_names]}
    elif plot.x_days:
        x |= {"type": "date", "nticks": 5, "tickformat": "%-d %b" if x_range[1] - x_range[0] < _YEAR_DAYS else "%b %Y"}
    elif plot.x_whole:
        x |= {"dtick": math.ceil((x_range[1] - x_range[0]) / 12)}
    layout_["xaxis" + place] = axis(visible(plot.x_label) if last else "", anchor="y" + place, **x)
    title = "" if named else visible(plot.y_label)  # in its name, or it would run into the plots above and below
    layout_["yaxis" + place] = axis(
        title, range=list(y_range), domain=domain, anchor="x" + place, nticks=5, automargin=False
    )


def _x(plot: Plot, x: float) -> Any:
    return date.fromordinal(round(x)).isoformat() if plot.x_days else x


def _trace(series: Series, number: int, plot: Plot) -> dict[str, Any]:
    finite = [(x, y if math.isfinite(y) else None) for x, y in series.points]
    trace: dict[str, Any] = {"x": [_x(plot, x) for x, _ in finite], "y": [y for _, y in finite]}
    at_end = series.style == "line" and named_at_ends(plot)
    trace |= {"name": escape(visible(series.label)), "showlegend": bool(series.label) and not at_end}
    if series.spread:
        trace["error_y"] = {"type": "data", "array": list(series.spread), "color": "#000"}
    if series.style == "bars":
        return trace | {"type": "bar", "marker": {"color": "#000"}}
    if series.style == "dots":
        symbol = "circle-open" if number % 2 == 0 else "square-open"
        marker = {"symbol": symbol, "size": 9, "color": "#000", "line": {"width": 2.5, "color": "#000"}}
        return trace | {"type": "scatter", "mode": "markers", "marker": marker}
    dash = _DASHES[number % len(_DASHES)]
    line = {"width": 2.5, "color": "#000", "shape": "hv" if series.style == "steps" else "linear", "dash": dash}
    return trace | {"type": "scatter", "mode": "lines", "line": line}


def _shapes(plot: Plot, place: str) -> list[dict[str, Any]]:
    """Band and lanes below, marks and levels above what is drawn."""
    over_y = {"xref": "x" + place, "yref": f"y{place} domain", "y0": 0, "y1": 1}
    over_x = {"xref": f"x{place} domain", "yref": "y" + place, "x0": 0, "x1": 1}
    shade = {"type": "rect", "layer": "below", "line": {"width": 0}, "fillcolor": "#cfe8d2"}
    shapes = [shade | over_x | {"y0": plot.band[0], "y1": plot.band[1]}] if plot.band else []
    shapes += [shade | over_y | {"x0": _x(plot, low), "x1": _x(plot, high)} for low, high in plot.lanes]
    dashed = {"type": "line", "layer": "above", "line": {"width": 2, "dash": "dash", "color": "#000"}}
    dotted = {"type": "line", "layer": "above", "line": {"width": 2.5, "dash": "dot", "color": "#000"}}
    shapes += [dashed | over_x | {"y0": y, "y1": y} for y, _ in plot.levels]
    shapes += [dotted | over_y | {"x0": _x(plot, x), "x1": _x(plot, x)} for x, _ in plot.marks]
    return shapes


def _labels(plot: Plot, place: str, *, named: bool) -> list[dict[str, Any]]:
    labels = []
    if named:
        at = {"xref": f"x{place} domain", "yref": f"y{place} domain", "xanchor": "left", "yanchor": "bottom"}
        name = ", ".join(escape(visible(part)) for part in (plot.title, plot.y_label) if part)
        labels.append(label(f"<b>{name}</b>", 0, 1, **at))
    highest = max((y for y, _ in plot.levels), default=0.0)
    for y, words in plot.levels:
        at = {"xref": f"x{place} domain", "yref": "y" + place, "xanchor": "right"}
        at["yanchor"] = "bottom" if y == highest else "top"
        labels.append(label(escape(visible(words)), 1, y, **at))
    used: list[float] = []
    for x, words in plot.marks:
        # Above the plot, or where its name stands there, beside the mark's line.
        at = {"xref": "x" + place, "yref": f"y{place} domain", "yanchor": "top" if named else "bottom"}
        beside = {"xanchor": "left", "xshift": 2, "yshift": -_LINE * used.count(x)} if named else {}
        height = 1.0 if named else 1.0 + 0.09 * used.count(x)
        used.append(x)
        labels.append(label(f"<b>{escape(visible(words))}</b>", _x(plot, x), height, **at, **beside))
    return labels
