"""The spray is switched on and somebody walks, but the meter counts nothing: the tank is empty, the pump is off, a
valve was shut by hand, or the meter has failed. For a turn that is nothing to speak of; for longer, the ground got
nothing, or nobody knows what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.carry import SumSince
from host.pipeline.columns import Bools
from host.pipeline.counts import Counts
from host.pipeline.pulses import Pulsing
from host.pipeline.wheel_silence import WheelSilence

DRY_US = 1_000_000  # without a pulse: the water has stopped
_LONG_US = 10_000_000  # walked so: longer than a turn with the valve shut by hand
_LONGEST_STEP_US = 2_000_000


@dataclass(frozen=True)
class Dry:
    """Where the spray is switched on and nothing flows, and where that has lasted for long; `neither` is where the
    wheel gave no pulse either, before the spray was shut nor after. Shape (n,)."""

    now: Bools
    long: Bools
    neither: Bools


class FlowSilence:
    """Follows the time walked with the spray switched on since water flowed last."""

    def __init__(self) -> None:
        self._walked = SumSince()
        self._both = WheelSilence()

    def push(self, counts: Counts, flow: Pulsing, switched_on: Bools, walks: Bools, wheel: Bools) -> Dry:
        """Continue with frames in which a switch says that the spray is on and the wheel, where there is one, that
        somebody walks.
        """
        dry = switched_on & (flow.idle_us >= DRY_US)
        walked_us = np.where(dry & walks, np.minimum(counts.step_us, _LONGEST_STEP_US), 0)
        since_us = self._walked(walked_us, flow.frequency_hz > 0)
        neither = self._both.push(counts, dry & wheel, (counts.flow.step > 0) | (counts.flow.late > 0)).again
        return Dry(dry, dry & (since_us >= _LONG_US), neither)
