"""Rate along the distance: a strip for each pass, its stretches off target named by where they begin and end."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

from dash import html

from dashboards.ui.forms import attributes
from dashboards.ui.plots import axis, graph, label, layout
from dashboards.ui.tables import wide_table
from host.review.evenness import Stretch, Strip
from host.rig import Target
from host.units import UNITS, format_value, to_user

AT_ONCE = 8  # strips in one plot
_ROW = 150  # pixels of height of a strip
_TOP, _BOTTOM = 24, 26  # of these: its name, and the numbers below
_MOST = 2.0  # times the target: a peak above is cut off, or nothing else could be read; its words and the table have it
_LABELLED = 2  # stretches of a pass that are named in the plot; all stand in the list


def groups(strips: Sequence[Strip]) -> list[tuple[int, int]]:
    """First and last pass of each plot."""
    return [
        (piece[0].number, piece[-1].number)
        for start in range(0, len(strips), AT_ONCE)
        if (piece := strips[start : start + AT_ONCE])
    ]


def strips_shown(strips: Sequence[Strip], stretches: Sequence[Stretch], target: Target, system: str) -> list[Any]:
    """The plot of these strips and the table with the same numbers."""
    known = [strip for strip in strips if len(strip.rate_m3_m2)]
    if not known:
        return [html.P("No pass is long enough to be shown along its distance.")]
    figure = strips_figure(known, stretches, target, system)
    names = f"pass {known[0].number}" if len(known) == 1 else f"passes {known[0].number} to {known[-1].number}"
    words = f"Rate along the distance of {names}; the table below has the numbers."
    return [
        html.Div(graph(figure, words, "strips"), role="img", **attributes({"aria-label": words})),
        html.Details([html.Summary(f"The numbers of {names}"), _table(known, target, system)], className="numbers"),
    ]


def strips_figure(strips: Sequence[Strip], stretches: Sequence[Stretch], target: Target, system: str) -> dict[str, Any]:
    """One row for each strip, over the same length; the target's band is shaded, stretches off target are marked."""
    height = _ROW * len(strips) + 30
    length = max(_length(float(strip.edges_m[-1]), system) for strip in strips)
    low, high = _rate(target.low_m3_m2, system), _rate(target.high_m3_m2, system)
    rates = [_rate(value, system) for strip in strips for value in strip.rate_m3_m2.tolist() if math.isfinite(value)]
    middle = (low + high) / 2
    span = [
        min(0.3 * middle, *(0.9 * rate for rate in rates)),
        max(1.5 * middle, *(min(1.1 * rate, _MOST * middle) for rate in rates)),
    ]
    figure: dict[str, Any] = {"data": [], "layout": layout(height, shapes=[], annotations=[])}
    figure["layout"]["margin"] |= {"t": 0, "b": 30}
    for row, strip in enumerate(strips):
        place = "" if row == 0 else str(row + 1)
        top = 1 - (row * _ROW + _TOP) / (height - 30)
        bottom = 1 - ((row + 1) * _ROW - _BOTTOM) / (height - 30)
        figure["layout"]["xaxis" + place] = axis("", range=[0, length], anchor="y" + place, nticks=7)
        figure["layout"]["yaxis" + place] = axis(
            UNITS[system]["rate"].symbol,
            range=span,
            domain=[bottom, top],
            anchor="x" + place,
            nticks=4,
            automargin=False,
        )
        figure["data"].append(_trace(strip, place, system))
        figure["layout"]["shapes"].append(
            {"type": "rect", "xref": "x" + place, "yref": "y" + place, "x0": 0, "x1": length, "y0": low, "y1": high}
            | {"layer": "below", "line": {"width": 0}, "fillcolor": "#cfe8d2"}
        )
        name = f"<b>Pass {strip.number}</b>, CV {strip.variation:.1%}" if math.isfinite(strip.variation) else ""
        figure["layout"]["annotations"].append(
            label(name or f"<b>Pass {strip.number}</b>", 0, 1, xref="x" + place, yref=f"y{place} domain")
            | {"xanchor": "left", "yanchor": "bottom"}
        )
        own = [one for one in stretches if one.number == strip.number]
        _mark(figure, own, place, target, length, system)
    last = "" if len(strips) == 1 else str(len(strips))
    figure["layout"]["xaxis" + last]["title"]["text"] = f"From the start of the pass, {UNITS[system]['length'].symbol}"
    return figure


def _trace(strip: Strip, place: str, system: str) -> dict[str, Any]:
    edges = [_length(edge, system) for edge in strip.edges_m.tolist()]
    rates = [_rate(rate, system) if math.isfinite(rate) else None for rate in strip.rate_m3_m2.tolist()]
    line = {"shape": "hv", "width": 2.5, "color": "#000"}
    trace = {"type": "scatter", "mode": "lines", "x": edges, "y": [*rates, rates[-1]], "line": line}
    return trace | {"xaxis": "x" + place, "yaxis": "y" + place, "name": f"Pass {strip.number}"}


def _mark(
    figure: dict[str, Any], stretches: Sequence[Stretch], place: str, target: Target, length: float, system: str
) -> None:
    """A bar at the edge of the strip, above for too much and below for too little, and words at the longest ones."""
    longest = sorted(stretches, key=lambda one: one.from_m - one.to_m)[:_LABELLED]
    taken: list[tuple[float, float, bool]] = []
    for one in stretches:
        begin, end = _length(one.from_m, system), _length(one.to_m, system)
        over = one.rate_m3_m2 > target.rate_m3_m2
        low, high = (0.93, 1.0) if over else (0.0, 0.07)
        figure["layout"]["shapes"].append(
            {"type": "rect", "xref": "x" + place, "yref": f"y{place} domain", "x0": begin, "x1": end}
            | {"y0": low, "y1": high, "layer": "above", "line": {"width": 0}, "fillcolor": "#7a0019"}
        )
        middle = (begin + end) / 2 / length
        reach = (middle - 0.3, middle + 0.3, over)
        if one not in longest or any(a < reach[1] and reach[0] < b and side == over for a, b, side in taken):
            continue
        taken.append(reach)
        off = abs(one.rate_m3_m2 / target.rate_m3_m2 - 1.0)
        text = f"{'▲' if over else '▼'} {begin:.0f} to {end:.0f} {UNITS[system]['length'].symbol}: {off:.0%} "
        anchor = "left" if middle < 0.35 else "right" if middle > 0.65 else "center"
        x = begin if anchor == "left" else end if anchor == "right" else (begin + end) / 2
        figure["layout"]["annotations"].append(
            label(text + ("over" if over else "under"), x, low if over else high, xref="x" + place)
            | {"yref": f"y{place} domain", "xanchor": anchor, "yanchor": "top" if over else "bottom"}
        )


def _table(strips: Sequence[Strip], target: Target, system: str) -> html.Div:
    length, rate = UNITS[system]["length"], UNITS[system]["rate"]
    rows: list[list[str]] = []
    marked: set[int] = set()
    for strip in strips:
        edges = [_length(edge, system) for edge in strip.edges_m.tolist()]
        for (begin, end), value in zip(itertools.pairwise(edges), strip.rate_m3_m2.tolist(), strict=True):
            side = "over" if value > target.high_m3_m2 else "under" if value < target.low_m3_m2 else ""
            if side:
                marked.add(len(rows))
            shown = f"{_rate(value, system):.{rate.decimals}f}" if math.isfinite(value) else "–"
            rows.append([str(strip.number), f"{begin:.1f}", f"{end:.1f}", shown, side])
    headings = ["Pass", f"From {length.symbol}", f"To {length.symbol}", f"Rate {rate.symbol}", "Off target"]
    return wide_table(headings, rows, frozenset(marked), "Rate along the passes")


def _length(value_m: float, system: str) -> float:
    return float(to_user(value_m, "length", system))


def _rate(value_m3_m2: float, system: str) -> float:
    return float(to_user(value_m3_m2, "rate", system))


def target_words(target: Target, system: str) -> str:
    """The target and its band, as the shaded lane in the plots shows it."""
    low, high = (format_value(value, "rate", system).split(" ")[0] for value in (target.low_m3_m2, target.high_m3_m2))
    return f"{low} to {high} {UNITS[system]['rate'].symbol}"
