"""Flow meter, wheel and pressure transducer: what the board's pins see of the flow, the walk and the pressure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from host.rig import PressureSensor
from host.simulate.boom import SLOW_STEP_S, STEP_S, BoomBlock
from host.simulate.disturbances import Disturbances
from host.simulate.noise import Lag, grid, wander
from host.simulate.settings import MeterSettings, TransducerSettings, WheelSettings

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_METER_DRIFT_S = 1200.0
_ZERO_DRIFT_S = 1800.0
_RINGS_AFTER_S = 80e-6  # a spike on a long wire rings: a second edge so soon after it
_HIGHEST_HZ = 20_000.0


class PulseTrain:
    """Turns a growing phase (pulses) into edge times, with unequal spacing of poles and jitter that adds up."""

    def __init__(self, poles: int, pole_error: float, jitter: float, rng: np.random.Generator) -> None:
        self._rng, self._jitter = rng, jitter
        place = pole_error * rng.standard_normal(poles)
        self._place = np.clip(place - place.mean(), -0.4, 0.4)
        self._next = 1
        self._strayed = 0.0
        self._phase = float(rng.random())

    def edges(self, t: Floats, phase_step: Floats, rough: Floats | float = 0.0) -> Floats:
        """Edge times (s) within `t`, where the phase grows by `phase_step` in the step ending at each time.

        `rough` raises the jitter of the pulses that come in its steps, up to twenty-fold at 1.
        """
        phase = self._phase + np.concatenate([np.zeros(1), np.cumsum(phase_step)])
        self._phase = float(phase[-1])
        jitter = self._jitter * (1.0 + 20.0 * float(np.max(rough)))
        ahead = max(self._phase - self._next - self._strayed, 0.0)
        count = int(ahead + 6.0 * jitter * ahead**0.5 + 2.5)  # more than will be reached; the rest is thrown away
        steps = self._rng.standard_normal(count) * self._jitter
        if np.any(rough):
            steps *= 1.0 + 20.0 * np.interp(self._next + np.arange(count), phase[1:], rough * np.ones(len(t)))
        strayed = self._strayed + np.cumsum(steps)
        number = self._next + np.arange(count)
        threshold = np.maximum.accumulate(number + strayed + self._place[number % len(self._place)])
        done = int(np.searchsorted(threshold, self._phase, side="right"))
        if done:
            self._next += done
            self._strayed = float(strayed[done - 1])
        times = np.concatenate([t[:1] - (t[1] - t[0]), t])
        return np.asarray(np.interp(threshold[:done], phase, times), dtype=np.float64)


@dataclass(frozen=True)
class Curve:
    """The meter's true factor over pulse frequency: straight lines between points, ends held."""

    frequency_hz: Floats
    pulses_per_m3: Floats

    def table(self) -> tuple[Floats, Floats]:
        """Flow (m³/s) and pulse frequency (Hz) that belong together, both rising from zero."""
        low, high = self.frequency_hz[0], self.frequency_hz[-1]
        frequency = np.concatenate([[0.0], np.linspace(low, high, 400), [max(_HIGHEST_HZ, 2 * high)]])
        frequency = np.unique(frequency)
        return frequency / np.interp(frequency, self.frequency_hz, self.pulses_per_m3), frequency


class FlowMeter:
    """Flow to pulses: rotor lag, non-linear factor, slow drift, pole spacing, jitter, and the faults of a meter."""

    def __init__(
        self,
        curve: Curve,
        settings: MeterSettings,
        disturbances: Disturbances,
        duration_s: float,
        rng: np.random.Generator,
    ) -> None:
        self._flow, self._frequency = curve.table()
        self._lag = Lag(settings.lag_s, STEP_S)
        self._train = PulseTrain(settings.poles, settings.pole_error, settings.jitter, rng)
        self._disturbances, self._rng = disturbances, rng
        slow = int(duration_s / SLOW_STEP_S) + 30
        self._slow_t = grid(SLOW_STEP_S, 0, slow)
        self._drift = wander(rng, slow, SLOW_STEP_S, _METER_DRIFT_S, settings.drift)

    def edges(self, boom: BoomBlock) -> Floats:
        """Times of the edges in this block, in order."""
        t = boom.t
        turning = self._lag(boom.metered_m3_s) * (1.0 - np.minimum(self._disturbances.total(t, "meter_low"), 1.0))
        frequency = np.interp(turning, self._flow, self._frequency)
        frequency *= 1.0 + np.interp(t, self._slow_t, self._drift)
        return self._spoiled(self._train.edges(t, frequency * STEP_S, boom.rough), t)

    def _spoiled(self, edges: Floats, t: Floats) -> Floats:
        disturbances = self._disturbances
        for disturbance in disturbances.during(float(t[0]) - STEP_S, float(t[-1]), "meter_stuck", "meter_missing"):
            lost = disturbance.strength(edges) * (1.0 if disturbance.kind == "meter_stuck" else disturbance.amount)
            edges = edges[self._rng.random(len(edges)) >= lost]
        for disturbance in disturbances.during(float(t[0]) - STEP_S, float(t[-1]), "meter_noise", "spike"):
            false = t[self._rng.random(len(t)) < disturbance.amount * disturbance.strength(t) * STEP_S]
            false -= STEP_S * self._rng.random(len(false))
            rung = false + _RINGS_AFTER_S * self._rng.random(len(false))
            edges = np.sort(np.concatenate([edges, false, rung]))
        return edges


class WheelSensor:
    """Distance to pulses: slip, unequal magnet spacing, and a wheel that does not turn."""

    def __init__(
        self, metres_per_pulse: float, settings: WheelSettings, disturbances: Disturbances, rng: np.random.Generator
    ) -> None:
        self._per_metre = (1.0 - settings.slip) / metres_per_pulse
        self._train = PulseTrain(settings.magnets, settings.magnet_error, 0.0, rng)
        self._disturbances = disturbances

    def edges(self, t: Floats, distance_step_m: Floats) -> Floats:
        """Times of the edges within `t`."""
        turning = 1.0 - np.minimum(self._disturbances.total(t, "wheel_slip"), 1.0)
        stuck = self._disturbances.active(t, "wheel_stuck")
        if stuck is not None:
            turning = np.where(stuck, 0.0, turning)
        return self._train.edges(t, distance_step_m * self._per_metre * turning)


class Transducer:
    """Pressure to ADC counts. Ratiometric, so the supply's slow changes cancel; its noise does not."""

    def __init__(
        self,
        sensor: PressureSensor,
        settings: TransducerSettings,
        full_scale: int,
        disturbances: Disturbances,
        duration_s: float,
        rng: np.random.Generator,
    ) -> None:
        self._sensor, self._settings, self._full_scale = sensor, settings, full_scale
        self._disturbances, self._rng = disturbances, rng
        slow = int(duration_s / SLOW_STEP_S) + 30
        self._slow_t = grid(SLOW_STEP_S, 0, slow)
        self._drift = wander(rng, slow, SLOW_STEP_S, _ZERO_DRIFT_S, settings.drift_pa)
        self._last = 0

    def counts(self, t: Floats, pressure_pa: Floats) -> Ints:
        """ADC counts at the times `t`, shape (n,)."""
        sensor, settings, disturbances = self._sensor, self._settings, self._disturbances
        zero = settings.zero_error_pa + np.interp(t, self._slow_t, self._drift)
        zero = zero + disturbances.total(t, "transducer_drift")
        share = (pressure_pa * (1.0 + settings.span_error) + zero - sensor.low_pa) / (sensor.high_pa - sensor.low_pa)
        fraction = sensor.low_fraction + share * (sensor.high_fraction - sensor.low_fraction)
        noise = self._rng.standard_normal(len(t)) * settings.noise_counts
        counts = np.rint(fraction * self._full_scale + noise)
        for kind, value in (("transducer_open", 0), ("transducer_short", self._full_scale)):
            active = disturbances.active(t, kind)
            if active is not None:
                counts = np.where(active, value, counts)
        frozen = disturbances.active(t, "transducer_frozen")
        if frozen is not None:
            first = int(np.argmax(frozen))
            counts = np.where(frozen, counts[first - 1] if first else self._last, counts)
        self._last = int(counts[-1])
        return np.clip(counts, 0, self._full_scale).astype(np.int64)
