"""How well a rate is known by the calibrations of the rig alone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from host.rig import Rig

Floats = npt.NDArray[np.float64]


# Standard uncertainty of the time by which a rotor runs on longer than it lagged at the start; the same in each pass.
# Small turbine meters are stated with lags of some hundredths of a second (from memory).
RUN_ON_S = 0.03


class RateCertainty:
    """Relative standard uncertainty of rates of one rig: its meter at the flow, its wheel or timed course."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._per_m3 = float(rig.meter.curve[len(rig.meter.curve) // 2][1])

    @property
    def pulse_m3(self) -> float:
        """What flows through the meter from one pulse to the next."""
        return 1.0 / self._per_m3

    def relative_u(self, flow_m3_s: npt.ArrayLike, passes: float = 1.0) -> Floats:
        """At a flow (any shape, same shape out); over the mean of so many passes where the speed is a walker's."""
        return np.hypot(self.volume_u(flow_m3_s), self.travel_u(passes))

    def volume_u(self, flow_m3_s: npt.ArrayLike) -> Floats:
        """The part of it that a volume has, at a flow (any shape, same shape out)."""
        return self._rig.meter.uncertainty_in_run(np.asarray(flow_m3_s, dtype=np.float64) * self._per_m3)

    def travel_u(self, passes: float) -> float:
        """The part of it that a distance and an area have."""
        if self._rig.wheel is not None:
            return self._rig.wheel.uncertainty_in_run
        return self._rig.course.uncertainty_in_run(passes) if self._rig.course is not None else 0.0
