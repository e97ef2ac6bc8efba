"""The area so far and the side of the target's band, frame by frame as they come in.

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
class Ground:
    """Running totals after each frame, shape (n,)."""

    area_m2: Floats
    off_target: Bools
    side: Ints  # OVER, ON or UNDER the band; it holds while the rate is near an edge


class GroundTotals:
    """Adds up area, and holds the rate against the target's band."""

    def __init__(self, rig: Rig) -> None:
        self._swath_m, self._target = rig.swath_m, rig.target
        self._side, self._area = HoldLast(ON), RunningSum()

    def push(self, sprayed: Bools, step_m: Floats, rate_m3_m2: Floats) -> Ground:
        """Continue: whether known ground is sprayed in each frame, the way since the one before, the rate."""
        wanted = self._target.rate_m3_m2
        rate, edge = rate_m3_m2, _EDGE * wanted
        low, high = self._target.low_m3_m2, self._target.high_m3_m2
        side = np.where(rate > high + edge, OVER, np.where(rate < low - edge, UNDER, ON))
        clear = np.isnan(rate) | (side != ON) | ((rate > low + edge) & (rate < high - edge))
        return Ground(
            area_m2=self._area(np.where(sprayed, step_m * self._swath_m, 0.0)),
            # never true for NaN: no rate, no verdict
            off_target=np.abs(rate - wanted) > self._target.band * wanted,
            side=self._side(side, clear),
        )
