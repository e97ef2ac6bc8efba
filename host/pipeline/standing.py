"""Which share of each row the sprayer stood while it sprayed, and how well that is known.

From the wheel's last pulse before a stop to the first one after it nothing is seen: it rolled out, stood, and set off.
How much time was lost in the pulses beside, against the pace of the pass, says how long rolling out and setting off
took (host.pipeline.slowing); so it does in long reports, for each says when its last pulse came. A stop so short that
no report ends in it shows as time lost between two pulses, and may as well have been slow walking.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from host.pipeline.columns import Bools, Floats
from host.pipeline.cover import WITHIN
from host.pipeline.rows import Rows, Why
from host.pipeline.slowing import slowing_after, slowing_before

_EVEN = 0.4  # of the time between two pulses, lost: he still walks
_HIDES = 2  # neighbouring reports with pulses, in which a stop may hide
_LEAST_US = 500_000  # lost: less is no stop worth a word
_CREEPS_US = 300_000  # from one report with a pulse to the next


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
    longest_us = np.diff(rows["wheel_edge_us"]).max(initial=0)  # between two pulses
    pace = pace_beside(rows, still) if still.any() or longest_us > _LEAST_US else 0.0
    if not pace > 0:
        return Standing(share, chance, doubt)
    step_us = np.maximum(rows["step_us"], 1)
    begins_us = rows["us"] - step_us
    # What it had still gone since the wheel's last pulse, and to the next one, it walked at its pace.
    share = np.where(still, np.clip(1.0 - rows["step_m"] / (pace * step_us), 0.0, 1.0), share)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.astype(np.int8), [0]))))
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        came = slowing_before(rows, still, first, pace, pulse_m)
        goes = slowing_after(rows, still, end, pace, pulse_m)
        beginning_us = came.at_us if came else float(begins_us[first])
        ending_us = goes.at_us if goes else float(rows["us"][end - 1])
        here = slice(came.row if came else first, goes.row + 1 if goes else end)
        within = np.minimum(rows["us"][here], ending_us) - np.maximum(begins_us[here], beginning_us)
        stood = np.clip(within / step_us[here], 0.0, 1.0)
        if not (came and goes):  # who was under way before the spray came on has not stood
            walked = rows["step_m"][here] / (pace * step_us[here]) if share[first:end].any() else 1.0
            stood = np.clip(stood, 0.0, np.maximum(1.0 - walked, 0.0))
        share[here] = stood
        middle, sides = (first + end) // 2, [side for side in (came, goes) if side]
        chance[middle] = math.hypot(*(side.chance_us for side in sides))
        doubt[middle] = sum(side.lost_us for side in sides) / 2
    for row, lost_us in _hidden(rows, still, pace, pulse_m):
        share[row] = np.clip(lost_us / 2 / step_us[row], 0.0, 1.0)
        chance[row] = lost_us * WITHIN
    return Standing(share, chance, doubt)


def _hidden(rows: Rows, still: Bools, pace: float, pulse_m: float) -> list[tuple[int, float]]:
    """Rows in which it may have stood between two pulses although no report says so, and the time lost there (µs).

    From pulse to pulse it went at less than half its pace, and before and after at its pace: it may have stood for all
    of what was lost, or only have gone slowly.
    """
    turned = np.flatnonzero(rows["turned"])
    if len(turned) < 4 or not pulse_m > 0:
        return []
    took_us = np.diff(rows["wheel_edge_us"][turned]).astype(np.float64)
    lost_us = took_us - np.diff(rows["wheel_pulses"][turned]) * pulse_m / pace
    slow, even = lost_us > took_us / 2, lost_us < took_us * _EVEN
    bounds = np.flatnonzero(np.diff(np.concatenate(([0], slow.astype(np.int8), [0]))))
    known = rows["spraying"] & ~still & (rows["why"] == Why.ASSIGNED)
    found = []
    for at, end in zip(bounds[::2].tolist(), bounds[1::2].tolist(), strict=True):
        inside = at > 0 and end < len(lost_us) and end - at <= _HIDES and even[at - 1] and even[end]
        lost = float(np.sum(lost_us[at:end]))
        if inside and lost > _LEAST_US and known[turned[at - 1] : turned[end + 1] + 1].all():
            found.append((int(turned[at + 1 + int(np.argmax(lost_us[at:end]))]), lost))
    return found


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
