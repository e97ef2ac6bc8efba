"""Which share of each row the sprayer stood while it sprayed, and how well that is known.

From the wheel's last pulse before a stop to the first one after it nothing is seen: it rolled out, stood, and set off.
How slowly the pulses came beside says how long rolling out and setting off took. In long reports only the way that they
lack is seen: what was lost by slowing down is in it, and was not stood.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from host.pipeline.columns import Bools, Floats
from host.pipeline.cover import COARSE_US, WITHIN
from host.pipeline.rows import Rows, Why

# What a walker loses by stopping and by setting off again, of full pace (from memory: a step or two each): anything
# from nothing to twice as much, the same each time.
_SLOWING_US, _SLOWING_U_US = 330_000, 190_000
_UNEVEN = 0.05  # standard: of a pace from second to second


@dataclass(frozen=True)
class Standing:
    """The share of each row's sprayed time in which it stood, shape (n,).

    What a stop lasted is known to ± `chance_us` (standard; another chance for each), and to ± `doubt_us` that all may
    share; they are in one row of each stop.
    """

    share: Floats
    chance_us: Floats
    doubt_us: Floats


def stood_spraying(rows: Rows, cover: Floats) -> Standing:
    """How it stood spraying, with `cover` as the share of each row that was sprayed.

    Who stands in a part of a row in which spraying begins or ends is taken to have stood while it was off.
    """
    stood = _stood(rows)
    within = np.maximum(stood.share - (1.0 - cover), 0.0) / np.maximum(cover, 1e-9)
    return Standing(np.where(stood.share < 1.0, within, stood.share), stood.chance_us, stood.doubt_us)


def _stood(rows: Rows) -> Standing:
    still = stands(rows)
    share, chance, doubt = still.astype(np.float64), np.zeros(len(rows)), np.zeros(len(rows))
    pace = pace_beside(rows, still)
    if not pace > 0:
        return Standing(share, chance, doubt)
    step_us = np.maximum(rows["step_us"], 1)
    long = rows["step_us"] > COARSE_US
    # What it had still gone since the wheel's last pulse, and to the next one, it walked at its pace.
    part = (still | (_next_to(still) & long)) & (rows["why"] == Why.ASSIGNED)
    share = np.where(part, np.clip(1.0 - rows["step_m"] / (pace * step_us), 0.0, 1.0), share)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.astype(np.int8), [0]))))
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        sides = int(bool((rows["spraying"] & ~still)[:first].any())) + int(end < len(rows))
        beside, middle = slice(max(first - 1, 0), end + 1), (first + end) // 2
        if long[beside].any():
            lost_us = float(np.sum((share * step_us)[beside]))
            share[beside] *= 1.0 - min(_SLOWING_US * sides / 2, lost_us) / max(lost_us, 1.0)
            chance[middle] = _UNEVEN * float(np.sum(step_us[beside]))
            doubt[middle] = _SLOWING_U_US * sides / 2
            continue
        came, goes = _pulses(rows, still, first, pace, -1), _pulses(rows, still, end, pace, 1)
        begins_us = rows["us"][first:end] - step_us[first:end]
        beginning, ending = float(begins_us[0]) + came.rolls_us, float(rows["us"][end - 1]) - goes.rolls_us
        within = np.minimum(rows["us"][first:end], ending) - np.maximum(begins_us, beginning)
        stood = np.clip(within / step_us[first:end], 0.0, 1.0)
        share[first:end] = stood if sides == 2 else np.minimum(stood, share[first:end])
        chance[middle] = math.hypot(came.between_us, goes.between_us) * WITHIN
        doubt[middle] = (came.slowing_us + goes.slowing_us) / 2
    return Standing(share, chance, doubt)


@dataclass(frozen=True)
class _Pulses:
    """The wheel's two pulses next to a stop, and what lies between the nearer one and the stop (µs)."""

    between_us: float = 0.0
    rolls_us: float = 0.0  # from the row of the nearer one
    slowing_us: float = 0.0  # of it, because it went slower there


def _pulses(rows: Rows, still: Bools, place: int, pace: float, side: int) -> _Pulses:
    """The pulses before (`side` -1) the stop that begins with row `place`, or after (1) the one that `place` ends."""
    beside = (
        np.flatnonzero(rows["turned"][:place])[-2:] if side < 0 else np.flatnonzero(rows["turned"][place:])[:2] + place
    )
    if len(beside) < 2 or still[beside[0] : beside[1] + 1].any():
        return _Pulses()
    first, last = beside.tolist()
    between_us = float(rows["us"][last] - rows["us"][first])
    even_us = min(float(np.sum(rows["step_m"][first + 1 : last + 1])) / pace, between_us)
    # Pulses slower than its pace: it slowed down, for as long again; but very slow ones left little to roll.
    slowing_us = min(between_us - even_us, _SLOWING_US / 2)
    in_row_us = float(rows["step_us"][last if side < 0 else first]) / 2  # where in its row a pulse came is not seen
    return _Pulses(between_us, max(even_us / 2 + slowing_us - in_row_us, 0.0), slowing_us)


def pace_beside(rows: Rows, still: Bools) -> float:
    """Way over time (m/µs) of the rows that sprayed, but for those that stood and the ones next to them; 0 if none."""
    walked = ~still & ~_next_to(still) & rows["spraying"] & (rows["why"] == Why.ASSIGNED)
    walked_us = float(np.sum(rows["step_us"][walked]))
    return float(np.sum(rows["step_m"][walked])) / walked_us if walked_us else 0.0


def _next_to(still: Bools) -> Bools:
    beside = np.zeros(len(still), dtype=np.bool_)
    beside[1:] |= still[:-1]
    beside[:-1] |= still[1:]
    return beside


def stands(rows: Rows) -> Bools:
    """Whether the sprayer stands in each row, from the wheel's last pulse on."""
    still: Bools = ~rows["moving"] & (rows["why"] == Why.ASSIGNED)  # a restart is no stop
    for place in np.flatnonzero(still[1:] & ~still[:-1]).tolist():
        turned = np.flatnonzero(rows["turned"][: place + 1])
        still[(int(turned[-1]) + 1 if len(turned) else 0) : place + 1] = True
    return still
