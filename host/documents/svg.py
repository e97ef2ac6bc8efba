"""Plots as SVG of our own, to stand inside a page that loads nothing and runs nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import date
from html import escape
from itertools import pairwise

from host.documents.document import Plot, Series
from host.errors import visible

_WIDTH, _HEIGHT = 720, 220
_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 12, 28, 50
_MOST_LABELS = 6
_LETTER = 7  # pixels of width of a letter, on average
_LINE = 15  # pixels of height of a line of text
_Place = Callable[[float, float], tuple[float, float]]
_Range = tuple[float, float]


def format_svg(plot: Plot) -> str:
    """`plot` as an SVG element; empty when there is nothing to draw. Text is escaped; no script, no link."""
    known = [point for series in plot.series for point in series.points if all(map(math.isfinite, point))]
    if not known:
        return ""
    x_range, y_range = ranges(plot)
    names = end_labels(plot, _HEIGHT - _TOP - _BOTTOM)
    right = _RIGHT + room_for(names)

    def place(x: float, y: float) -> tuple[float, float]:
        return (
            _LEFT + (x - x_range[0]) / (x_range[1] - x_range[0]) * (_WIDTH - _LEFT - right),
            _HEIGHT - _BOTTOM - (y - y_range[0]) / (y_range[1] - y_range[0]) * (_HEIGHT - _TOP - _BOTTOM),
        )

    title = _text(plot.title)
    parts = [f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-label="{title}">', f"<title>{title}</title>"]
    if plot.band:
        parts.append(_shade((x_range[0], x_range[1]), plot.band, place))
    parts += [_shade(lane, y_range, place) for lane in plot.lanes]
    parts += _axes(plot, x_range, y_range, place)
    for number, series in enumerate(plot.series):
        parts += _drawn(series, number, place, y_range)
    parts += _lines(plot, x_range, y_range, place)
    for x, y, name in names:
        across, down = place(x, y)
        parts.append(f'<text x="{across + 4:.1f}" y="{down + 4:.1f}">{_text(name)}</text>')
    named = legend(plot)
    if len(named) > 1:
        words = "   ".join(f"{sign} {label}" for sign, label in named)
        parts.append(f'<text x="{_WIDTH - _RIGHT}" y="12" text-anchor="end">{_text(words)}</text>')
    return "".join([*parts, "</svg>"])


def named_at_ends(plot: Plot) -> bool:
    """Whether there are several lines with names; they stand at the ends of the lines, not in a legend."""
    return sum(series.style == "line" and bool(series.label) for series in plot.series) > 1


def end_labels(plot: Plot, height: float) -> list[tuple[float, float, str]]:
    """Names of several lines in one plot, as (x, y, name) at their right ends; moved apart where they would overlap.

    `height` is that of the plot in pixels.
    """
    if not named_at_ends(plot):
        return []
    ends = []
    for series in plot.series:
        if series.style != "line" or not series.label:
            continue
        finite = [(y, x) for x, y in series.points if math.isfinite(x) and math.isfinite(y)]
        if finite:
            y, x = finite[-1]
            ends.append((y, x, series.label))
    if not ends:
        return []
    low, high = ranges(plot)[1]
    apart = _LINE * (high - low) / height
    placed: list[tuple[float, float, str]] = []
    for y, x, name in sorted(ends):
        placed.append((x, max(y, placed[-1][1] + apart) if placed else y, name))
    down = max(0.0, placed[-1][1] - high)
    return [(x, y - down, name) for x, y, name in placed]


def room_for(names: Sequence[tuple[float, float, str]]) -> int:
    """Pixels beside the plot for names at the ends of its lines."""
    return _LETTER * max((len(name) for _, _, name in names), default=0)


def ranges(plot: Plot) -> tuple[_Range, _Range]:
    """What of x and of y is shown: what the plot asks for, else room for all that is drawn."""
    points = [point for series in plot.series for point in series.points if all(map(math.isfinite, point))]
    xs = [x for x, _ in points]
    ys = [y for _, y in points] + [*(plot.band or ()), *(y for y, _ in plot.levels)]
    if any(series.style == "bars" for series in plot.series):
        ys.append(0.0)
        xs += [min(xs) - 0.5, max(xs) + 0.5]
    for series in plot.series:
        ys += [y + sign * half for (_, y), half in zip(series.points, series.spread, strict=False) for sign in (-1, 1)]
    ys = [y for y in ys if math.isfinite(y)]
    dotted = any(series.style == "dots" for series in plot.series)  # a dot on the very edge would be cut in half
    return plot.x_range or _widened(min(xs), max(xs), 0.02 * dotted), plot.y_range or _widened(min(ys), max(ys), 0.08)


def legend(plot: Plot) -> list[tuple[str, str]]:
    """How each named series looks, and its name; without lines that are named at their ends."""
    at_ends = named_at_ends(plot)
    signs = {"dots": "●○", "bars": "■□", "line": "━╍", "steps": "━╍"}
    return [
        (signs[series.style][min(number, 1)], series.label)
        for number, series in enumerate(plot.series)
        if series.label and not (at_ends and series.style == "line")
    ]


def ticks(low: float, high: float, wanted: int = 5) -> list[float]:
    """Round values in [low, high], about `wanted` of them, steps of 1, 2, 2.5 or 5."""
    raw = (high - low) / wanted
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(s * power for s in (1.0, 2.0, 2.5, 5.0, 10.0) if s * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [float(f"{n * step:.10g}") for n in range(first, last + 1)]


def _shade(x: _Range, y: _Range, place: _Place) -> str:
    (left, top), (right, bottom) = place(x[0], y[1]), place(x[1], y[0])
    return f'<rect class="band" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{bottom - top:.1f}"/>'


def _axes(plot: Plot, x_range: _Range, y_range: _Range, place: _Place) -> list[str]:
    left, bottom = place(x_range[0], y_range[0])
    right, top = place(x_range[1], y_range[1])
    parts = [f'<path class="axis" d="M{left:.1f} {top:.1f}V{bottom:.1f}H{right:.1f}"/>']
    for value in ticks(*y_range):
        at = place(x_range[0], value)[1]
        parts.append(f'<path class="grid" d="M{left:.1f} {at:.1f}H{right:.1f}"/>')
        parts.append(f'<text x="{left - 5:.1f}" y="{at + 4:.1f}" text-anchor="end">{value:g}</text>')
    for value, name in _x_labels(plot, x_range):
        at = place(value, y_range[0])[0]
        parts.append(f'<text x="{at:.1f}" y="{bottom + 20:.1f}" text-anchor="middle">{_text(name)}</text>')
    parts.append(f'<text x="{right:.1f}" y="{_HEIGHT - 6}" text-anchor="end">{_text(plot.x_label)}</text>')
    parts.append(f'<text x="{left:.1f}" y="12">{_text(plot.y_label)}</text>')
    return parts


def _x_labels(plot: Plot, x_range: _Range) -> list[tuple[float, str]]:
    if plot.x_names:
        step = max(math.ceil(len(plot.x_names) / _MOST_LABELS), 1)
        return [(float(at), plot.x_names[at]) for at in range(0, len(plot.x_names), step) if at <= x_range[1]]
    if plot.x_days:
        days = sorted({round(day) for day in ticks(*x_range, wanted=4) if x_range[0] <= round(day) <= x_range[1]})
        return [(float(day), date.fromordinal(day).isoformat()) for day in days]
    marks = ticks(*x_range)
    return [(value, f"{value:g}") for value in marks if not plot.x_whole or value == round(value)]


def _drawn(series: Series, number: int, place: _Place, y_range: _Range) -> list[str]:
    """The series; its number is in the class of what is drawn, so that the second one looks different."""
    pieces: list[list[tuple[float, float]]] = [[]]
    for x, y in series.points:
        if math.isfinite(x) and math.isfinite(y):
            pieces[-1].append((x, y))
        elif pieces[-1]:
            pieces.append([])
    css = f"s{number}"
    parts = []
    for points in pieces:
        if series.style in ("line", "steps") and len(points) > 1:
            corners = points if series.style == "line" else _cornered(points)
            way = " L".join("{:.1f} {:.1f}".format(*place(*corner)) for corner in corners)
            parts.append(f'<path class="line {css}" d="M{way}"/>')
        elif series.style == "bars":
            parts += [_bar(x, y, css, place) for x, y in points]
        else:
            parts += ['<circle class="{}" cx="{:.1f}" cy="{:.1f}" r="3"/>'.format(css, *place(*one)) for one in points]
    for (x, y), half in zip(series.points, series.spread, strict=False):
        if math.isfinite(y) and math.isfinite(half):
            (at, top), (_, bottom) = place(x, min(y + half, y_range[1])), place(x, max(y - half, y_range[0]))
            parts.append(f'<path class="spread" d="M{at:.1f} {top:.1f}V{bottom:.1f}"/>')
    return parts


def _bar(x: float, y: float, css: str, place: _Place) -> str:
    (left, top), (right, bottom) = place(x - 0.35, max(y, 0.0)), place(x + 0.35, min(y, 0.0))
    return (
        f'<rect class="bar {css}" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{bottom - top:.1f}"/>'
    )


def _cornered(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    corners = [points[0]]
    for (_, held), (x, y) in pairwise(points):
        corners += [(x, held), (x, y)]
    return corners


def _lines(plot: Plot, x_range: _Range, y_range: _Range, place: _Place) -> list[str]:
    """Levels across and marks up, each with its label at its end; labels of marks side by side go one step down."""
    parts = []
    highest = max((y for y, _ in plot.levels), default=0.0)
    for y, label in plot.levels:
        (left, at), (right, _) = place(x_range[0], y), place(x_range[1], y)
        parts.append(f'<path class="level" d="M{left:.1f} {at:.1f}H{right:.1f}"/>')
        beside = at - 4 if y == highest else at + 13
        parts.append(f'<text x="{right - 4:.1f}" y="{beside:.1f}" text-anchor="end">{_text(label)}</text>')
    ends: list[float] = []
    for x, label in sorted(plot.marks):
        (at, top), (_, bottom) = place(x, y_range[1]), place(x, y_range[0])
        row = next((row for row, end in enumerate(ends) if end < at), len(ends))
        ends[row : row + 1] = [at + _LETTER * (len(label) + 1)]
        parts.append(f'<path class="mark" d="M{at:.1f} {top:.1f}V{bottom:.1f}"/>')
        parts.append(f'<text class="mark" x="{at + 3:.1f}" y="{top + 12 + 13 * row:.1f}">{_text(label)}</text>')
    return parts


def _text(text: str) -> str:
    return escape(visible(text), quote=True)


def _widened(low: float, high: float, share: float) -> _Range:
    if high - low <= abs(high) * 1e-9:
        margin = abs(high) * 0.1 or 0.5
        return low - margin, high + margin
    return low - share * (high - low), high + share * (high - low)
