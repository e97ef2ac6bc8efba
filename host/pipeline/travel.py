"""Speed and distance, from the wheel or from a speed timed over a course."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.applying import MOVING_M_S, is_moving
from host.pipeline.carry import RunningSum
from host.pipeline.columns import Bools, Floats
from host.pipeline.counts import Counts
from host.pipeline.pulses import PulseTimer
from host.pipeline.turning import TurnSpeed
from host.rig import Rig

_STOP_RANGE_S = (0.3, 2.0)  # without a pulse: it stands, unless pulses are further apart than that
_SLOW_M_S = 0.4  # a walk, but a slow one


def slow_pulse_us(rig: Rig) -> float:
    """Time from one pulse of the wheel to the next in a slow walk (µs); 0 without a wheel."""
    return 1e6 * rig.wheel.metres_per_pulse / _SLOW_M_S if rig.wheel else 0.0


@dataclass(frozen=True)
class Travel:
    """Arrays of shape (n,)."""

    speed_m_s: Floats  # over the wheel's last whole turn
    moving: Bools
    distance_m: Floats  # total, whole pulses
    step_m: Floats  # since the frame before
    smooth_m: Floats  # total, carried on between pulses
    pulse_m: Floats  # distance of one pulse, 0 with a fixed speed
    idle_us: Floats  # since the wheel's last pulse; 0 with a fixed speed
    counted_hz: Floats  # at which the wheel's newest pulses came, also after they have stopped


class Traveller:
    """With a wheel, distance is pulses times metres per pulse.

    Without one the timed speed is taken to hold whenever the sprayer sprays, and only then.
    """

    def __init__(self, rig: Rig) -> None:
        self._wheel, self._course = rig.wheel, rig.course
        slowest_s = max(rig.wheel.metres_per_pulse / MOVING_M_S if rig.wheel else 0.0, _STOP_RANGE_S[0])
        self._timer = PulseTimer(min(slowest_s, _STOP_RANGE_S[1]) * 1e6, slowest_s * 1e6)
        self._turning = TurnSpeed(rig.wheel.pulses_per_turn if rig.wheel else 1)
        self._distance = RunningSum()

    def push(self, counts: Counts, scale: Floats, spraying_s: Floats) -> Travel:
        """Travel in each frame; `spraying_s` is the time sprayed in it and `scale` the clock's correction."""
        if self._wheel:
            per_pulse = self._wheel.metres_per_pulse
            pulsing = self._timer.push(counts, counts.wheel)
            return Travel(
                speed_m_s=self._turning.push(counts, pulsing) / scale * per_pulse,
                moving=is_moving(pulsing.frequency_hz / scale * per_pulse),
                distance_m=counts.wheel.total * per_pulse,
                step_m=(counts.wheel.step + counts.wheel.late) * per_pulse,
                smooth_m=pulsing.total * per_pulse,
                pulse_m=np.full(len(scale), per_pulse),
                idle_us=pulsing.idle_us,
                counted_hz=pulsing.counted_hz,
            )
        speed = self._course.speed_m_s if self._course else 0.0
        step = spraying_s * speed
        distance = self._distance(step)
        none = np.zeros(len(scale))
        now = np.where(spraying_s > 0, speed, 0.0)
        return Travel(now, is_moving(now), distance, step, distance, none, none, none)
