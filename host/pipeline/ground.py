"""What the ground got: areas and times, as running totals, frame by frame as they come in.

This is the first word, for the screen and the fault watch; `settle` says the last one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.carry import HoldLast, RunningSum
from host.pipeline.columns import Bools, Floats, Ints
from host.rig import Rig

_EDGE = 0.01  # of the target: the verdict changes only when the rate has gone so far beyond the edge of the band
OVER, ON, UNDER = 1, 0, -1


@dataclass(frozen=True)
class State:
    """What the sprayer does in each frame. Arrays of shape (n,)."""

    spraying: Bools
    moving: Bools
    known: Bools  # volume and ground of the frame belong together
    step_s: Floats  # time since the frame before
    step_m: Floats  # distance
    step_m3: Floats  # volume
    rate_m3_m2: Floats


@dataclass(frozen=True)
class Ground:
    """Running totals after each frame, shape (n,)."""

    area_m2: Floats
    off_target: Bools
    side: Ints  # OVER, ON or UNDER the band; it holds while the rate is near an edge
    off_target_s: Floats
    off_target_m2: Floats
    standing_s: Floats
    standing_m3: Floats
    spraying_s: Floats


class GroundTotals:
    """Adds up area, time off target and what was sprayed while standing."""

    def __init__(self, rig: Rig) -> None:
        self._swath_m, self._target = rig.swath_m, rig.target
        self._side = HoldLast(ON)
        self._area, self._spraying = RunningSum(), RunningSum()
        self._off_s, self._off_m2 = RunningSum(), RunningSum()
        self._standing_s, self._standing_m3 = RunningSum(), RunningSum()

    def push(self, state: State) -> Ground:
        """Continue with `state`."""
        spraying = state.spraying & state.known
        area_step = np.where(spraying, state.step_m * self._swath_m, 0.0)
        standing = spraying & ~state.moving
        wanted = self._target.rate_m3_m2
        rate, edge = state.rate_m3_m2, _EDGE * wanted
        low, high = self._target.low_m3_m2, self._target.high_m3_m2
        side = np.where(rate > high + edge, OVER, np.where(rate < low - edge, UNDER, ON))
        clear = np.isnan(rate) | (side != ON) | ((rate > low + edge) & (rate < high - edge))
        off = np.abs(state.rate_m3_m2 - wanted) > self._target.band * wanted  # never true for NaN: no rate, no verdict
        return Ground(
            area_m2=self._area(area_step),
            off_target=off,
            side=self._side(side, clear),
            off_target_s=self._off_s(np.where(off, state.step_s, 0.0)),
            off_target_m2=self._off_m2(np.where(off, area_step, 0.0)),
            standing_s=self._standing_s(np.where(standing, state.step_s, 0.0)),
            standing_m3=self._standing_m3(np.where(standing, state.step_m3, 0.0)),
            spraying_s=self._spraying(np.where(spraying, state.step_s, 0.0)),
        )
