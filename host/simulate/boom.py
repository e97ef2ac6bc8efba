"""Tank, pump, regulator and boom in motion: pressure and flow on a fine grid, block by block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from host.simulate.disturbances import FOR_EVER, Disturbances
from host.simulate.hydraulics import Pump, Regulator, balance
from host.simulate.noise import Lag, Resonance, grid, wander
from host.simulate.settings import GroundSettings, PumpSettings, RegulatorSettings

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

STEP_S = 0.005  # fine grid: six samples or more in each stroke of the pump
SLOW_STEP_S = 1.0  # grid of the slow wanderings

_VALVE_S = 0.05  # time constant of the boom valve
_HOSE_S = 0.08  # time constant of the pressure: hose and diaphragms give
_STEPS_HZ = 1.8  # cadence of the walk (common practice)
_WANDER_S = 120.0  # time constant of the regulator's wandering
_BUBBLE_S = 0.1  # time a bubble takes to pass
_SUPPLY_LOW = 0.80  # of full voltage: a 12 V lead-acid battery below about 10 V is empty (common practice)


@dataclass(frozen=True)
class BoomSpec:
    """The healthy hydraulics."""

    nozzles: int
    coefficient: float  # of all nozzles together, m³/s per √Pa
    set_pressure_pa: float
    pump: Pump
    tank_m3: float
    strokes: PumpSettings
    regulator: RegulatorSettings
    ground: GroundSettings
    valve_s: float = 0.0  # in which the boom valve is turned by hand; 0: at once


@dataclass(frozen=True)
class BoomBlock:
    """One block on the fine grid; every array has shape (n,) and each value holds for the step that ends at its `t`."""

    t: Floats
    pressure_pa: Floats  # at the transducer, upstream of the boom valve
    metered_m3_s: Floats  # through the meter
    sprayed_m3_s: Floats  # out of the nozzles
    leaked_m3_s: Floats
    rough: Floats | float  # how unevenly the rotor turns, 0 normal, 1 full of bubbles
    supply_low: Bools


class Boom:
    """The hydraulics over time. `duration_s` bounds the slow wanderings drawn ahead."""

    def __init__(self, spec: BoomSpec, disturbances: Disturbances, duration_s: float, rng: np.random.Generator) -> None:
        self._spec, self._disturbances = spec, disturbances
        self._strokes, self._ground = spec.strokes, spec.ground
        self._set_pressure_pa = spec.set_pressure_pa
        self._knobs = [e for e in disturbances.all if e.kind == "knob"]
        flow = spec.coefficient * spec.set_pressure_pa**0.5
        self._regulator = Regulator.with_droop(spec.regulator.droop, spec.set_pressure_pa, flow, spec.pump)
        slow = int(duration_s / SLOW_STEP_S) + 30
        self._slow_t = grid(SLOW_STEP_S, 0, slow)
        self._wander = wander(rng, slow, SLOW_STEP_S, _WANDER_S, spec.regulator.wander)
        self._rng = rng
        self._valve, self._hose = Lag(_VALVE_S, STEP_S), Lag(_HOSE_S, STEP_S, self._rest_pressure())
        self._bounce = Resonance(_STEPS_HZ, 0.15, STEP_S)
        self._stroke_phase = self._handle = 0.0
        self._bubble = 0.0
        self.tank_left_m3 = spec.tank_m3
        self.dry_since_s: float | None = None

    def _rest_pressure(self) -> float:
        spec = self._spec
        pressure = np.array([spec.set_pressure_pa])
        opening = self._regulator.opening_pressure(pressure, spec.coefficient, spec.pump)
        return float(balance(spec.pump, self._regulator, opening, np.zeros(1), np.ones(1))[0])

    def block(self, t: Floats, spray: Bools, moving: Bools, refilled_s: list[float]) -> BoomBlock:
        """Go on to the times `t`: the next stretch of the fine grid, with the switch and the walk at each of them."""
        valve = self._valve(self._turned(spray.astype(np.float64)))
        shut = self._disturbances.active(t, "valve_shut")
        if shut is not None:
            valve = np.where(shut, 0.0, valve)
        nozzles, leak = self._openings(t)
        nozzles, leak = nozzles * valve, leak * valve
        voltage = self._voltage(t)
        air = self._disturbances.total(t, "air", "bubble")
        bubbles = self._bubbles(len(t)) if np.any(np.asarray(air) > 0) else 0.0
        speed = voltage * (1.0 - np.minimum(self._disturbances.total(t, "strainer"), 1.0)) * (1.0 - air * bubbles)
        off = self._disturbances.active(t, "pump_off")
        speed = speed if off is None else np.where(off, 0.0, speed)
        ripple = self._ripple(voltage, moving)
        pressure = self._pressure(t, nozzles + leak, speed, ripple)
        root = np.sqrt(pressure)
        wet = self._wet(t, (nozzles + leak) * root, refilled_s)
        if not wet.all():
            # Air from the dry suction: the pump races, the boom spits.
            pressure = np.where(wet, pressure, pressure * 0.2 * self._bubbles(len(t)))
            root = np.sqrt(pressure)
        return BoomBlock(
            t=t,
            pressure_pa=pressure,
            metered_m3_s=(nozzles + leak) * root,
            sprayed_m3_s=np.where(wet, nozzles * root, 0.0),
            leaked_m3_s=np.where(wet, leak * root, 0.0),
            rough=np.maximum(air, ~wet) if not wet.all() else air,
            supply_low=voltage < _SUPPLY_LOW,
        )

    def _turned(self, wanted: Floats) -> Floats:
        """How far a hand has turned the valve, 0 to 1: as fast as it can towards `wanted`."""
        if not self._spec.valve_s:
            return wanted
        step = STEP_S / self._spec.valve_s
        turned = []
        for aim in wanted.tolist():
            self._handle += min(max(aim - self._handle, -step), step)
            turned.append(self._handle)
        return np.array(turned)

    def _openings(self, t: Floats) -> tuple[Floats, Floats]:
        """Coefficients of the nozzles together and of a leak, m³/s per √Pa."""
        disturbances, spec = self._disturbances, self._spec
        share = np.ones(len(t))
        for disturbance in disturbances.during(float(t[0]), float(t[-1]) + STEP_S, "clog", "wear", "lost_tip"):
            sign = -1.0 if disturbance.kind == "clog" else 1.0
            share += sign * disturbance.amount * disturbance.nozzles / spec.nozzles * disturbance.strength(t)
        share *= 1.0 - np.minimum(disturbances.total(t, "kink"), 1.0)
        leak = disturbances.total(t, "leak") * np.ones(len(t))
        return spec.coefficient * np.maximum(share, 0.0), spec.coefficient * leak

    def _voltage(self, t: Floats) -> Floats:
        sag = self._strokes.sag_per_hour * t / 3600.0
        return np.asarray(np.maximum(1.0 - sag - self._disturbances.total(t, "battery"), 0.05))

    def _bubbles(self, count: int) -> Floats:
        noise = wander(self._rng, count, STEP_S, _BUBBLE_S, 1.0)
        return np.minimum(np.abs(noise), 1.0)

    def _ripple(self, voltage: Floats, moving: Bools) -> Floats:
        """Relative pressure swing of strokes and steps."""
        strokes = self._stroke_phase + np.cumsum(2 * np.pi * self._strokes.pulsation_hz * STEP_S * voltage)
        self._stroke_phase = float(strokes[-1] % (2 * np.pi))
        count, ground = len(voltage), self._ground
        kicks = self._rng.standard_normal(count) * ground.bumps
        jolts = self._rng.random(count) < ground.jolts_per_minute / 60.0 * STEP_S
        # The resonance answers a single kick with about a twelfth of its height.
        kicks[jolts] += 12.0 * ground.jolt * self._rng.standard_normal(int(jolts.sum()))
        return self._strokes.pulsation * np.sin(strokes) + self._bounce(np.where(moving, kicks, 0.0))

    def _pressure(self, t: Floats, opening: Floats, speed: Floats, ripple: Floats) -> Floats:
        spec = self._spec
        while self._knobs and self._knobs[0].at_s + self._knobs[0].over_s < t[0] and self._knobs[0].lasts_s == FOR_EVER:
            self._set_pressure_pa = self._knobs.pop(0).amount
        wanted = np.full(len(t), self._set_pressure_pa)
        for knob in self._knobs:
            if knob.at_s <= t[-1]:
                wanted += (knob.amount - wanted) * knob.strength(t)
        wanted *= 1.0 + np.interp(t, self._slow_t, self._wander)
        cracks = self._regulator.opening_pressure(wanted, spec.coefficient, spec.pump)
        cracks = np.asarray(cracks * (1.0 - self._disturbances.total(t, "regulator")))
        steady = self._hose(balance(spec.pump, self._regulator, cracks, opening, speed))
        return np.asarray(np.maximum(steady * (1.0 + ripple), 0.0))

    def _wet(self, t: Floats, flow: Floats, refilled_s: list[float]) -> Bools:
        """Where the suction still finds water; takes what is drawn out of the tank."""
        level = self.tank_left_m3 - np.cumsum(flow) * STEP_S
        for refill in refilled_s:
            full_from = int(np.searchsorted(t, refill))
            level[full_from:] += self._spec.tank_m3 - level[full_from - 1 if full_from else 0]
        wet = level > 0
        self.tank_left_m3 = max(float(level[-1]), 0.0)
        if not wet.all() and self.dry_since_s is None:
            self.dry_since_s = float(t[int(np.argmin(wet))])
        return np.asarray(wet)
