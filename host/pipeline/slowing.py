"""How long a walker took to roll out before a stop, or to set off after it, by the times of the wheel's pulses."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from host.pipeline.columns import Bools, Floats
from host.pipeline.rows import Rows, Why

_RAMP_US = 1_500_000  # after so long he walks at his pace
# From pulse to pulse, of the time that it takes at his pace, and at least: he as good as stands where the wheel is just
# about to give a pulse.
_CREEPS, _CREEPS_US = 4, 700_000
_PHASE = 0.35  # standard, relative: of the time to a pulse from rest, which goes by the root of an even chance's way


@dataclass(frozen=True)
class Slowing:
    """Between standing and a pulse of the wheel: board time of standing's end (or beginning), row of the pulse, and
    what of the time between was lost because it went slower than its pace (µs), standard uncertainty by chance."""

    at_us: float
    row: int
    lost_us: float
    chance_us: float


def slowing_before(rows: Rows, still: Bools, first: int, pace: float, pulse_m: float) -> Slowing | None:
    """How it rolled out into the stop that begins with row `first`, at `pace` (m/µs) where no pulses tell another one;
    None where it had not turned. The wheel's last pulse came half a pulse's way before it stood."""
    turned = _turned(rows, still, range(first - 1, -1, -1), pulse_m / pace)
    if not turned:
        return None
    edges, counts = rows["wheel_edge_us"][turned], rows["wheel_pulses"][turned]
    pulses = 1 + int(rows["wheel_pulses"][first - 1] - counts[0])
    rolls_us, lost_us, chance_us = _from_rest(pulses, edges[0] - edges, counts[0] - counts, pace, pulse_m, math.inf)
    return Slowing(float(edges[0]) + rolls_us, int(turned[0]), lost_us, chance_us)


def slowing_after(rows: Rows, still: Bools, end: int, pace: float, pulse_m: float) -> Slowing | None:
    """The same of setting off after the stop that row `end` ends. The first pulse that was told with its time is the
    last one of its row; the first of all came half a pulse's way from rest, and not before that row."""
    turned = _turned(rows, still, range(end, len(rows)), pulse_m / pace)
    if not turned:
        return None
    row = int(turned[0])
    edges, counts = rows["wheel_edge_us"][turned], rows["wheel_pulses"][turned]
    pulses = max(int(counts[0] - rows["wheel_pulses"][end - 1]), 1) if end else 1
    since_us = float(edges[0] - rows["us"][row] + rows["step_us"][row])
    # From rest evenly the first pulse came at 1/√(2n - 1) of the time of the n-th.
    most_us = since_us / (1.0 - 1.0 / math.sqrt(2 * pulses - 1)) if pulses > 1 else math.inf
    rolls_us, lost_us, chance_us = _from_rest(pulses, edges - edges[0], counts - counts[0], pace, pulse_m, most_us)
    return Slowing(float(edges[0]) - rolls_us, row, lost_us, chance_us)


def _turned(rows: Rows, still: Bools, places: range, pulse_us: float) -> list[int]:
    """Those of `places` in which the wheel gave pulses, to where it stands again or what is known has a gap, and no
    further than it takes to see his pace; without a pulse at the stop that came as good as standing."""
    turned: list[int] = []
    for place in places:
        if rows["why"][place] != Why.ASSIGNED or (still[place] and turned):
            break
        if rows["turned"][place]:
            turned.append(place)
            if abs(int(rows["wheel_edge_us"][place] - rows["wheel_edge_us"][turned[0]])) > 2 * _RAMP_US:
                break
    if len(turned) > 1:
        edges, counts = rows["wheel_edge_us"][turned[:2]], rows["wheel_pulses"][turned[:2]]
        if abs(int(edges[1] - edges[0])) > max(_CREEPS * pulse_us * abs(int(counts[1] - counts[0])), _CREEPS_US):
            return turned[1:]
    return turned


def _from_rest(
    pulses: int, gone_us: Floats, counts: Floats, pace: float, pulse_m: float, most_us: float
) -> tuple[float, float, float]:
    """From rest to the last of the first so many pulses, at most `most_us`: how long, what of it was lost, and ± by
    chance. `counts` more pulses came `gone_us` away from it, 0 first; both grow.

    Who sets off evenly, x = a·t²/2, and reaches his pace v at T has lost T/2 by then. Of that L is seen behind a pulse
    at the way w from rest: from T = (√(2·L) + √e)² with e = 2·w/v what was lost before it is e/2 + √(2·L·e); where
    L = 0 he may have been at his pace at once. Who comes to his pace as a lag does, v·(1 - exp(-t/τ)), has lost √(L·e)
    by then, and 0 where L = 0. Taken is the middle between the two.
    """
    pace, beyond_us = _beyond(gone_us, counts, pace, pulse_m)
    way_us = (pulses - 0.5) * pulse_m / pace
    product = beyond_us * 2.0 * way_us
    least_us = min(math.sqrt(product), max(most_us - way_us, 0.0))
    lost_us = (least_us + min(way_us + math.sqrt(2.0 * product), max(most_us - way_us, 0.0))) / 2.0
    return way_us + lost_us, lost_us, _PHASE * (way_us + lost_us) / (2 * pulses - 1)


def _beyond(gone_us: Floats, counts: Floats, pace: float, pulse_m: float) -> tuple[float, float]:
    """At what pace he walks once he should have reached it, and what he lost against that until then (m/µs and µs).
    After a stop a turn may follow, at another pace than `pace`."""
    all_us = float(gone_us[-1])
    if all_us < _RAMP_US / 2:
        return pace, max(all_us - float(counts[-1]) * pulse_m / pace, 0.0)
    ramp_us = min(_RAMP_US, all_us - _RAMP_US / 2)
    near = int(np.searchsorted(gone_us, ramp_us))
    if float(gone_us[near]) > all_us - _RAMP_US / 2:
        near -= 1
    near = max(near, 0)
    pace = float(counts[-1] - counts[near]) * pulse_m / (all_us - float(gone_us[near]))
    return pace, max(float(gone_us[near]) - float(counts[near]) * pulse_m / pace, 0.0)
