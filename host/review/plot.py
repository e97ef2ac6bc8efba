"""Plots as SVG of our own, to stand inside a page that loads nothing: points, lines, a band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

_WIDTH, _HEIGHT = 720, 220
_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 12, 12, 50
_MOST_LABELS = 6


@dataclass(frozen=True)
class Axis:
    """Label and, when the places are not numbers to be shown as they are, the names of its points."""

    label: str
    names: Sequence[str] = ()


def svg_plot(
    title: str,
    x: Axis,
    y: Axis,
    points: Sequence[tuple[float, float]],
    *,
    band: tuple[float, float] | None = None,
    joined: bool = True,
) -> str:
    """An SVG of `points`, in order; a `band` of y is shaded. Points that are not finite leave a gap.

    With `x.names` the x of a point is its place in that list. Text is escaped; there is no script and no link.
    """
    known = [(a, b) for a, b in points if math.isfinite(a) and math.isfinite(b)]
    if not known:
        return f"<p>{escape(title)}: nothing to plot.</p>"
    xs, ys = [a for a, _ in known], [b for _, b in known] + list(band or ())
    x_low, x_high = _widened(min(xs), max(xs), 0.0)
    y_low, y_high = _widened(min(ys), max(ys), 0.08)

    def place(a: float, b: float) -> tuple[float, float]:
        return (
            _LEFT + (a - x_low) / (x_high - x_low) * (_WIDTH - _LEFT - _RIGHT),
            _HEIGHT - _BOTTOM - (b - y_low) / (y_high - y_low) * (_HEIGHT - _TOP - _BOTTOM),
        )

    parts = [
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-label="{escape(title, quote=True)}">',
        f"<title>{escape(title)}</title>",
    ]
    if band:
        (left, top), (right, bottom) = place(x_low, band[1]), place(x_high, band[0])
        parts.append(
            f'<rect class="band" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{bottom - top:.1f}"/>'
        )
    parts += _axes(x, y, (x_low, x_high), (y_low, y_high), place)
    parts += _marks(points, place, joined)
    return "".join([*parts, "</svg>"])


def _axes(x: Axis, y: Axis, x_range: tuple[float, float], y_range: tuple[float, float], place: object) -> list[str]:
    assert callable(place)
    left, bottom = place(x_range[0], y_range[0])
    right, top = place(x_range[1], y_range[1])
    parts = [f'<path class="axis" d="M{left:.1f} {top:.1f}V{bottom:.1f}H{right:.1f}"/>']
    for value in ticks(*y_range):
        at = place(x_range[0], value)[1]
        parts.append(f'<path class="grid" d="M{left:.1f} {at:.1f}H{right:.1f}"/>')
        parts.append(f'<text x="{left - 5:.1f}" y="{at + 4:.1f}" text-anchor="end">{value:g}</text>')
    for value, name in _x_labels(x, x_range):
        at = place(value, y_range[0])[0]
        parts.append(f'<text x="{at:.1f}" y="{bottom + 20:.1f}" text-anchor="middle">{escape(name)}</text>')
    parts.append(f'<text x="{right:.1f}" y="{_HEIGHT - 6}" text-anchor="end">{escape(x.label)}</text>')
    parts.append(f'<text x="{left + 5:.1f}" y="{top + 10:.1f}">{escape(y.label)}</text>')
    return parts


def _x_labels(x: Axis, x_range: tuple[float, float]) -> list[tuple[float, str]]:
    if not x.names:
        return [(value, f"{value:g}") for value in ticks(*x_range)]
    step = max(math.ceil(len(x.names) / _MOST_LABELS), 1)
    return [(float(place), x.names[place]) for place in range(0, len(x.names), step) if place <= x_range[1]]


def _marks(points: Sequence[tuple[float, float]], place: object, joined: bool) -> list[str]:
    assert callable(place)
    runs: list[list[tuple[float, float]]] = [[]]
    for a, b in points:
        if math.isfinite(a) and math.isfinite(b):
            runs[-1].append(place(a, b))
        elif runs[-1]:
            runs.append([])
    parts = []
    for run in runs:
        if joined and len(run) > 1:
            parts.append(f'<path class="line" d="M{" L".join(f"{a:.1f} {b:.1f}" for a, b in run)}"/>')
        if not joined or len(run) == 1:
            parts += [f'<circle cx="{a:.1f}" cy="{b:.1f}" r="3"/>' for a, b in run]
    return parts


def ticks(low: float, high: float, wanted: int = 5) -> list[float]:
    """Round values in [low, high], about `wanted` of them, steps of 1, 2, 2.5 or 5."""
    raw = (high - low) / wanted
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(s * power for s in (1.0, 2.0, 2.5, 5.0, 10.0) if s * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [float(f"{n * step:.10g}") for n in range(first, last + 1)]


def _widened(low: float, high: float, share: float) -> tuple[float, float]:
    if high - low <= abs(high) * 1e-9:
        margin = abs(high) * 0.1 or 0.5
        return low - margin, high + margin
    return low - share * (high - low), high + share * (high - low)
