"""Which share of each row the sprayer stood while it sprayed, and how well that is known.

From the wheel's last pulse before a stop to the first one after it nothing is seen: it rolled out, stood, and set off.
How much time was lost in the pulses beside, against the pace of the pass, says how long rolling out and setting off
took. In long reports only the way that they lack is seen: what was lost by slowing down is in it, and was not stood.
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
_SLOWING_US, _SLOWING_U_US = 750_000, 430_000
_RAMP_US = 1_500_000  # after so long he walks at his pace
_CREEPS_US = 300_000  # from one report with a pulse to the next
_EVENLY = 1.5  # 2 for even acceleration, 1 for a lag
_PHASE = 0.35  # standard, relative: of the time to a pulse from rest, which goes by the root of an even chance's way
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


def stood_spraying(rows: Rows, cover: Floats, pulse_m: float) -> Standing:
    """How it stood spraying, with `cover` as the share of each row that was sprayed, and the way of a wheel's pulse.

    Who stands in a part of a row in which spraying begins or ends is taken to have stood while it was off.
    """
    stood = _stood(rows, pulse_m)
    if not stood.share.any():
        return stood
    within = np.maximum(stood.share - (1.0 - cover), 0.0) / np.maximum(cover, 1e-9)
    return Standing(np.where(stood.share < 1.0, within, stood.share), stood.chance_us, stood.doubt_us)


def poured_standing(rows: Rows, share: Floats) -> Floats:
    """The share of each row's volume that was sprayed standing still, for `share` of its time."""
    if not share.any():
        return share
    # What the rotor still counts when the spray is shut was sprayed where it was shut.
    sprayed = np.maximum.accumulate(np.where(rows["spraying"], np.arange(len(rows)), -1))
    counted = (rows["spraying"] | (rows["step_m3"] > 0)) & (sprayed >= 0)
    return np.where(counted, share[sprayed], 0.0)


def _stood(rows: Rows, pulse_m: float) -> Standing:
    still = stands(rows)
    share, chance, doubt = still.astype(np.float64), np.zeros(len(rows)), np.zeros(len(rows))
    pace = pace_beside(rows, still) if still.any() else 0.0
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
        came, goes = (_slowing(rows, still, place, pace, pulse_m, side) for place, side in ((first, -1), (end, 1)))
        begins_us = rows["us"][first:end] - step_us[first:end]
        beginning, ending = float(begins_us[0]) + came.rolls_us, float(rows["us"][end - 1]) - goes.rolls_us
        within = np.minimum(rows["us"][first:end], ending) - np.maximum(begins_us, beginning)
        stood = np.clip(within / step_us[first:end], 0.0, 1.0)
        share[first:end] = stood if sides == 2 else np.minimum(stood, share[first:end])
        chance[middle] = math.hypot(came.chance_us, goes.chance_us)
        doubt[middle] = (came.lost_us + goes.lost_us) / 2
    return Standing(share, chance, doubt)


@dataclass(frozen=True)
class _Slowing:
    """Between standing and the wheel's pulse next to it (µs): how long it rolled, from the row of that pulse, and what
    of that was lost because it went slower than its pace."""

    rolls_us: float = 0.0
    lost_us: float = 0.0
    chance_us: float = 0.0


def _slowing(rows: Rows, still: Bools, place: int, pace: float, pulse_m: float, side: int) -> _Slowing:
    """Before (`side` -1) the stop that begins with row `place`, or after (1) the one that `place` ends.

    Who sets off evenly, x = a·t²/2, and reaches his pace v at T has lost T/2 by then. Of that L is seen behind the
    first pulse, which came half a pulse's way on: from T = (√(2·L) + √e)², with e as that pulse's time at v, what was
    lost before it is T/2 - L = e/2 + √(2·L·e). Where L = 0 he may as well have been at his pace at once: half of e/2.
    Who comes to his pace as a lag does, v·(1 - exp(-t/τ)), has lost √(L·e) by the first pulse: between the two.
    """
    turned = rows["turned"]
    beside = np.flatnonzero(turned[:place])[:-3:-1] if side < 0 else np.flatnonzero(turned[place:])[:2] + place
    if len(beside) < 2 or still[min(beside) : max(beside) + 1].any():
        return _Slowing()
    near, next_one = (int(row) for row in beside)
    pace, beyond_us = _beyond(rows, still, next_one, pace, side)
    pulse_us = pulse_m / pace
    seen_us = max(abs(float(rows["us"][next_one] - rows["us"][near])) - pulse_us, 0.0) + beyond_us
    lost_us = pulse_us / 4 + math.sqrt(_EVENLY * seen_us * pulse_us)
    rolls_us = pulse_us / 2 + lost_us
    in_row_us = float(rows["step_us"][near]) / 2  # where in its row a pulse came is not seen
    return _Slowing(max(rolls_us - in_row_us, 0.0), lost_us, math.hypot(_PHASE * rolls_us, in_row_us * WITHIN))


def _beyond(rows: Rows, still: Bools, place: int, pace: float, side: int) -> tuple[float, float]:
    """At what pace he walks behind row `place`, or before it, once he should have reached it, and what he lost against
    that until then (m/µs and µs). After a stop a turn may follow, at another pace than `pace`."""
    if side < 0:
        place, rows, still = len(rows) - 2 - place, rows[::-1], still[::-1]  # a row's way ends with its last pulse
    step_us, step_m, stops = rows["step_us"][place + 1 :], rows["step_m"][place + 1 :], still[place + 1 :]
    gone_us = np.cumsum(step_us)
    ends = np.flatnonzero(stops | (gone_us > 2 * _RAMP_US))
    walked = slice(0, int(ends[0]) if len(ends) else len(stops))
    way_m, time_us = step_m[walked], step_us[walked]
    later = gone_us[walked] > min(_RAMP_US, float(np.sum(time_us)) - _RAMP_US / 2)
    if float(np.sum(way_m[later])) > 0:
        pace = float(np.sum(way_m[later])) / float(np.sum(time_us[later]))
    return pace, max(float(np.sum(time_us[~later])) - float(np.sum(way_m[~later])) / pace, 0.0)


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
    """Whether the sprayer stands in each row, from the wheel's last pulse on to its next."""
    still: Bools = ~rows["moving"] & (rows["why"] == Why.ASSIGNED)  # a restart is no stop
    if not still.any():
        return still
    for place in np.flatnonzero(still[1:] & ~still[:-1]).tolist():
        turned = np.flatnonzero(rows["turned"][: place + 1])
        still[(int(turned[-1]) + 1 if len(turned) else 0) : place + 1] = True
    if (still & rows["turned"]).any():
        for way in (slice(None), slice(None, None, -1)):
            _without_creeping(rows[way], still[way])
    return still


def _without_creeping(rows: Rows, still: Bools) -> None:
    """Take out of `still` the rows at the head of each stop in which a fine wheel gives pulses all the time, if ever so
    slowly."""
    for first in np.flatnonzero(still & ~np.concatenate(([False], still[:-1]))).tolist():
        place, near_us = first, float(rows["us"][first])
        for row in range(first, len(rows)):
            if not still[row] or abs(float(rows["us"][row]) - near_us) > _CREEPS_US:
                break
            if rows["turned"][row]:
                place, near_us = row + 1, float(rows["us"][row])
        still[first:place] = False
