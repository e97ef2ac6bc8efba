"""Which ground got too much, which too little, and of which neither is known."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np

from host.pipeline.certainty import RUN_ON_S
from host.pipeline.columns import Bools, Floats
from host.pipeline.on_ground import Settled, ends_u_m, stops_u_m3
from host.pipeline.rate import SETTLE_US, WINDOW_US
from host.pipeline.rows import Rows
from host.rig import Target

_CENTRE_US = WINDOW_US // 2  # the rate over a window belongs to its middle
_EDGE_PULSES = 1 / math.sqrt(6)  # standard, of a difference of two readings to a whole pulse: GUM F.2.2.1


def with_sides(ground: Settled, rows: Rows, pulse_m3: float, pulse_m: float, target: Target) -> Settled:
    """`ground` of `rows` with what of it got too much, too little, or is not known; with one pulse of meter and wheel.

    It goes by the rate over a window about the row's middle. Where spraying is too short for a whole window, it goes by
    all such short strips of these rows together, volume over ground, as far as their own ± does not reach over an edge
    of the band.
    """
    short = _short(rows, ground.ground_s)
    rated = np.flatnonzero(np.isfinite(rows["rate_m3_m2"]))
    rate = np.full(len(rows), np.nan)
    if len(rated):
        later = np.searchsorted(rows["us"][rated], rows["us"] + _CENTRE_US)
        rate = rows["rate_m3_m2"][rated[np.minimum(later, len(rated) - 1)]]
    within = np.zeros(len(rows))
    if short.any():
        rate = rate.copy()
        rate[short], within[short] = _together(short, ground, pulse_m3, pulse_m)
    over, under = rate - within > target.high_m3_m2, rate + within < target.low_m3_m2
    on = (rate + within <= target.high_m3_m2) & (rate - within >= target.low_m3_m2)
    return replace(
        ground,
        over_m2=ground.ground_m2 * over,
        under_m2=ground.ground_m2 * under,
        unknown_m2=ground.ground_m2 * ~(over | under | on),
        off_target_s=ground.ground_s * (over | under),
    )


_NEEDED = ("ground_s", "ground_m", "ground_m2", "ground_m3", "ends_m2", "ends_doubt_m", "stops_m6", "stops_doubt_m3")


def _short(rows: Rows, ground_s: Floats) -> Bools:
    """Rows from the first of a strip that is too short for a window to the next strip: the rotor runs on behind it."""
    bounds = [*np.flatnonzero(np.diff((ground_s > 0).astype(np.int8), prepend=0) > 0).tolist(), len(rows)]
    short = np.zeros(len(rows), dtype=np.bool_)
    for first, end in pairwise(bounds):
        short[first:end] = float(np.sum(ground_s[first:end])) * 1e6 < WINDOW_US + SETTLE_US
    return short


def _together(short: Bools, ground: Settled, pulse_m3: float, pulse_m: float) -> tuple[float, float]:
    """Rate of the short strips and its ± (95 %) by pulses, ends and stops; calibrations are in the ± of the mean."""
    sums = {name: math.fsum(getattr(ground, name)[short].tolist()) for name in _NEEDED}
    if not (sums["ground_m2"] > 0 and sums["ground_m3"] > 0):
        return math.nan, 0.0
    number = np.count_nonzero(np.diff((short & (ground.ground_s > 0)).astype(np.int8), prepend=0) > 0)
    rate, step = sums["ground_m3"] / sums["ground_m2"], _EDGE_PULSES * math.sqrt(number)
    relative = math.hypot(
        step * pulse_m3 / sums["ground_m3"],
        step * pulse_m / sums["ground_m"],
        ends_u_m(sums) / sums["ground_m"],
        stops_u_m3(sums) / sums["ground_m3"],
        RUN_ON_S * number / sums["ground_s"],
    )
    return rate, 2.0 * rate * relative
