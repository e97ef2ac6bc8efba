"""When the sprayer sprays and when it moves."""

from __future__ import annotations

import numpy as np

from host.pipeline.carry import HoldLast, Previous
from host.pipeline.columns import Bools, Floats
from host.pipeline.counts import Counts
from host.pipeline.fitted import Fitted
from host.pipeline.flow_silence import DRY_US
from host.pipeline.pulses import Pulsing

MOVING_M_S = 0.2


class SprayState:
    """Spraying is the switch, unless nothing has flowed for a second; without a switch it is the flow alone, and
    without a flow meter input the switch alone. Without either it is not known, and no frame sprays.

    The switch acts at once, the meter a few tenths of a second later; going by the switch keeps both ends of a pass
    in place on the ground.
    """

    def __init__(self) -> None:
        self._was_on = Previous(False)
        self._on_since_us, self._missed_us = HoldLast(0), HoldLast(-(2**62))

    def push(self, on: Bools, counts: Counts, flow: Pulsing, fitted: Fitted) -> Bools:
        """Whether water reaches the ground in each frame, shape (n,), where the switch is `on` or not."""
        switched_on = on & ~self._was_on(on)
        since_us = self._on_since_us(counts.board_us, switched_on)
        missed_us = self._missed_us(counts.board_us, counts.dropped > 0)  # they may have been those of the flow
        fresh = counts.board_us - np.maximum(since_us, missed_us) < DRY_US
        wet = fresh | (flow.idle_us < DRY_US) | ~fitted.meter
        return np.where(fitted.switch, on & wet, (flow.frequency_hz > 0) & fitted.meter)


def is_moving(speed_m_s: Floats) -> Bools:
    """Whether the sprayer moves, shape (n,)."""
    return np.asarray(speed_m_s >= MOVING_M_S)
