"""Which share of each row was sprayed, and how far it went meanwhile."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from host.pipeline.columns import Bools, Floats
from host.pipeline.count_line import began_us, ended_us
from host.pipeline.rows import Rows, Why

LEAD_US = 1_500_000  # without a switch, spraying began so long at most before it showed
_COARSE_US = 250_000  # a row longer than this is divided where spraying begins or ends in it
_SWITCH_OFF_US = 250_000  # a switch that is on for so much longer or shorter than the water flows is wrong
_AT_REST_US = 300_000  # without a pulse: the water has stopped
_SWITCH_EARLY_US = 50_000  # by how much the switch may have closed before the row in which it shows


@dataclass(frozen=True)
class Stretch:
    """Rows that are settled together: `begun` and `over` say whether its beginning and end were seen."""

    rows: Rows
    begun: bool
    over: bool


@dataclass(frozen=True)
class Cover:
    """The share of each row in which it sprayed, shape (n,), and board times of the first and last spraying.

    `switch_short_s` is for how much longer the water flowed than the switch was on, where the pulses were believed.
    """

    share: Floats
    began_us: float
    ended_us: float
    switch_short_s: float = 0.0


def cover_of(stretch: Stretch) -> Cover:
    """What of the rows was sprayed."""
    rows = stretch.rows
    bounds = np.flatnonzero(np.diff(np.concatenate(([0], rows["spraying"].astype(np.int8), [0]))))
    firsts, lasts = bounds[::2].tolist(), (bounds[1::2] - 1).tolist()
    ends_us = rows["us"].astype(np.float64)
    begins_us = ends_us - rows["step_us"]
    cover, began, ended = np.zeros(len(rows)), math.inf, -math.inf
    doubted_us = 0.0
    for index, (first, last) in enumerate(zip(firsts, lasts, strict=True)):
        start = stretch.begun or index > 0
        end = stretch.over or index < len(lasts) - 1
        rest = firsts[index + 1] - 1 if index < len(firsts) - 1 else len(rows) - 1
        short_us = _switch_short_us(rows, first, last, rest) if start and end else 0.0
        on = _on(rows, first, last, doubted=short_us != 0.0) if start else float(begins_us[first])
        off = _off(rows, first, last, rest, doubted=short_us != 0.0) if end else float(ends_us[last])
        shared = np.minimum(ends_us, off) - np.maximum(begins_us, on)
        cover += np.clip(shared / np.maximum(rows["step_us"], 1), 0.0, 1.0)
        began, ended = min(began, on), max(ended, off)
        doubted_us += short_us
    return Cover(np.minimum(cover, 1.0), began, ended, doubted_us * 1e-6)


def _on(rows: Rows, first: int, last: int, *, doubted: bool) -> float:
    begin, end = float(rows["us"][first] - rows["step_us"][first]), float(rows["us"][first])
    if rows["by_switch"][first] and rows["step_us"][first] <= _COARSE_US and not doubted:
        return begin
    found = began_us(rows, first, last)
    if found is None:
        return begin
    if rows["by_switch"][first] and not doubted:
        return min(max(found, begin - _SWITCH_EARLY_US), end)
    return min(max(found, begin - LEAD_US), _first_edge(rows, first, last))


def _off(rows: Rows, first: int, last: int, rest: int, *, doubted: bool) -> float:
    end = float(rows["us"][last])
    beyond = float(rows["us"][min(last + 1, len(rows) - 1)])
    if rows["by_switch"][first] and beyond - end <= _COARSE_US and not doubted:
        return end
    found = ended_us(rows, first, rest)
    if found is None:
        return end
    if rows["by_switch"][first] and not doubted:
        return min(max(found, end - _SWITCH_EARLY_US), beyond)
    return max(found, float(rows["us"][first] - rows["step_us"][first]))


def _switch_short_us(rows: Rows, first: int, last: int, rest: int) -> float:
    """How much longer (µs) the water flowed than the switch was on, where both cannot be right; 0 where they may.

    What valve, hose and rotor lag shifts both ends of the flow alike, so that its length is known to a few hundredths
    of a second. Pulses that do not stop with the water are noise, and say nothing.
    """
    if not rows["by_switch"][first] or rows["step_us"][first : last + 1].max() > _COARSE_US:
        return 0.0
    began, ended = began_us(rows, first, last), ended_us(rows, first, rest)
    if began is None or ended is None or rows["us"][rest] - rows["edge_us"][rest] < _AT_REST_US:
        return 0.0
    on_us = float(rows["us"][last]) - float(rows["us"][first] - rows["step_us"][first])
    short = ended - began - on_us
    return short if abs(short) > _SWITCH_OFF_US else 0.0


def _first_edge(rows: Rows, first: int, last: int) -> float:
    timed = np.flatnonzero(rows["timed"][first : last + 1])
    return float(rows["edge_us"][first + int(timed[0])]) if len(timed) else math.inf


def stands(rows: Rows) -> Bools:
    """Whether the sprayer stands in each row, from the wheel's last pulse on."""
    still: Bools = ~rows["moving"] & (rows["why"] == Why.ASSIGNED)  # a restart is no stop
    for place in np.flatnonzero(still[1:] & ~still[:-1]).tolist():
        turned = np.flatnonzero(rows["turned"][: place + 1])
        still[(int(turned[-1]) + 1 if len(turned) else 0) : place + 1] = True
    return still


def way_sprayed(rows: Rows, cover: Floats) -> Floats:
    """Way sprayed in each row, of which the share `cover` was sprayed.

    A long row that is sprayed in part is walked at the pace of the pass while it is, and not at that of the turn.
    """
    way: Floats = rows["step_m"] * cover
    whole = cover >= 1.0
    for place in np.flatnonzero((cover > 0.0) & ~whole & (rows["step_us"] > _COARSE_US)).tolist():
        inside = [near for near in (place + 1, place - 1) if 0 <= near < len(rows) and whole[near]]
        if inside:
            pace = rows["step_m"][inside[0]] / max(int(rows["step_us"][inside[0]]), 1)
            way[place] = min(rows["step_m"][place], pace * cover[place] * rows["step_us"][place])
    return way
