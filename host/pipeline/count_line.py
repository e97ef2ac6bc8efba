"""When spraying began and ended, read off the pulses: finer than a report, and without a switch.

A meter's rotor gathers speed late and runs on after the flow, and between two reports nobody sees the valve move. But
the pulses of a pass, divided by the frequency of its own steady part, are the time for which that flow ran: a straight
line through the steady counts meets the count at rest where spraying began, and the last count where it ended. The
rotor's lag shifts both ends alike; what its run-down adds at the end is what the start lacked.
"""

from __future__ import annotations

import math

import numpy as np

from host.pipeline.columns import Ints
from host.pipeline.rows import Rows

_SETTLE_US = 700_000  # of the first and the last edge: rotor, hose and valve are still on their way
_RUN_DOWN_US, _ROUNDS = 300_000, 4
_REACH_US = 3_500_000  # how far into the pass the line is drawn
_QUIET_US = 250_000  # without an edge for so long, the meter stood
_LEAST_PULSES = 6
_AT_REST = 0.5  # of a pulse: how far the rotor has turned, on average, since its last edge when it stands


def began_us(rows: Rows, first: int, last: int) -> float | None:
    """Board time at which the flow of rows `first` to `last` (included) began; None when the rows do not tell."""
    timed = np.flatnonzero(rows["timed"][first : last + 1]) + first
    if not len(timed) or not first:
        return None
    edge, pulses = rows["edge_us"][timed], rows["pulses"][timed]
    line = np.flatnonzero((edge >= edge[0] + _SETTLE_US) & (edge <= edge[0] + _SETTLE_US + _REACH_US))
    if not len(line) or rows["why"][first : timed[line[-1]] + 1].any():
        return None
    return _where(edge, pulses, line, _rest_count(rows, first), anchor=0)


def began_by_count(rows: Rows, first: int, last: int, period_us: float) -> float | None:
    """The same of a pass too short for a line of its own: as long before its last pulse as its pulses take.

    `period_us` is the time from pulse to pulse of steady flow. None when no pulse tells.
    """
    timed = np.flatnonzero(rows["timed"][first : last + 1]) + first
    if not len(timed) or not first or not math.isfinite(period_us) or rows["why"][first : timed[-1] + 1].any():
        return None
    newest = timed[-1]
    return float(rows["edge_us"][newest]) - (int(rows["pulses"][newest]) - _rest_count(rows, first)) * period_us


def ended_by_count(rows: Rows, first: int, end: int, period_us: float) -> float | None:
    """As long after its first pulse that was told as the pulses take that came until the meter stood, at row `end`."""
    timed = np.flatnonzero(rows["timed"][first : end + 1]) + first
    if not len(timed) or not math.isfinite(period_us) or rows["why"][timed[0] : end + 1].any():
        return None
    oldest = timed[0]
    return (
        float(rows["edge_us"][oldest]) + (int(rows["pulses"][end]) + _AT_REST - int(rows["pulses"][oldest])) * period_us
    )


def steady_period_us(rows: Rows, first: int, last: int, after_us: int = _SETTLE_US) -> float:
    """Time from pulse to pulse of the flow in rows `first` to `last`, from `after_us` behind their first pulse on.

    Not a number where too few came, or where what is known has a gap.
    """
    timed = np.flatnonzero(rows["timed"][first : last + 1]) + first
    if not len(timed) or rows["why"][first : last + 1].any():
        return math.nan
    edge, pulses = rows["edge_us"][timed], rows["pulses"][timed]
    return _period_us(edge, pulses, np.flatnonzero(edge >= edge[0] + after_us))


def _rest_count(rows: Rows, first: int) -> float:
    """The count at which the meter stood before row `first`."""
    return int(rows["pulses"][_at_rest(rows, first)]) + _AT_REST


def _at_rest(rows: Rows, first: int) -> int:
    """The last row before `first` in which the meter still stood: water may flow before a switch says so."""
    before = np.flatnonzero(rows["timed"][:first])
    since = int(rows["edge_us"][first]) if rows["timed"][first] else int(rows["us"][first] - rows["step_us"][first])
    for place in before[::-1].tolist():
        if since - int(rows["edge_us"][place]) > _QUIET_US:
            break
        since, first = int(rows["edge_us"][place]), place
    return max(first - 1, 0)


def ended_us(rows: Rows, first: int, end: int) -> float | None:
    """Board time at which the flow that began with row `first` ended, the pulses having stopped by row `end`."""
    timed = np.flatnonzero(rows["timed"][first : end + 1]) + first
    if not len(timed):
        return None
    edge, pulses = rows["edge_us"][timed], rows["pulses"][timed]
    found, over_us = None, float(edge[-1])
    for _ in range(_ROUNDS):
        line = np.flatnonzero((edge <= over_us - _SETTLE_US) & (edge >= over_us - _SETTLE_US - _REACH_US))
        # The first report of a pass may still hold the rotor's start.
        line = line[edge[line] >= edge[0] + _SETTLE_US]
        if not len(line) or rows["why"][timed[line[0]] : end + 1].any():
            return None
        found = _where(edge, pulses, line, int(rows["pulses"][end]) + _AT_REST, anchor=-1)
        if found is None or found + _RUN_DOWN_US >= over_us:
            break
        over_us = found + _RUN_DOWN_US  # a fine meter gives its last pulses long after: they are no part of the pass
    return found


def _where(edge: Ints, pulses: Ints, line: Ints, count: float, *, anchor: int) -> float | None:
    """Where the line through the first and last of `line` reaches `count`."""
    period_us = _period_us(edge, pulses, line)
    if math.isnan(period_us):
        return None
    near = line[anchor]
    return float(edge[near]) + (count - float(pulses[near])) * period_us


def _period_us(edge: Ints, pulses: Ints, line: Ints) -> float:
    """Time from pulse to pulse between the first and last of `line`; not a number where too few came."""
    turned = int(pulses[line[-1]] - pulses[line[0]]) if len(line) > 1 else 0
    return float(edge[line[-1]] - edge[line[0]]) / turned if turned >= _LEAST_PULSES else math.nan
