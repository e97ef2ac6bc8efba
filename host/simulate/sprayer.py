"""The whole sprayer with its walker: blocks of what reaches the board's pins, and the truth behind them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from host.formulas import speed_for_rate
from host.rig import Rig
from host.simulate.boom import STEP_S, Boom, BoomBlock, BoomSpec
from host.simulate.disturbances import Disturbances
from host.simulate.hydraulics import Pump
from host.simulate.noise import grid
from host.simulate.scenario import Scenario
from host.simulate.sensors import Curve, FlowMeter, Transducer, WheelSensor
from host.simulate.walk import Walk, walk

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

BLOCK_S = 20.0
_STEPS = round(BLOCK_S / STEP_S)


@dataclass(frozen=True)
class Block:
    """What the board's pins see from the end of the last block to `end_s`. Times in s from the start of the run."""

    end_s: float
    flow_edges_s: Floats
    wheel_edges_s: Floats
    sample_s: Floats  # when the converter sampled
    adc: Ints  # what it gave, shape of sample_s
    switch: Bools  # spray switch, shape of sample_s
    supply_low: Bools  # shape of sample_s


class Sprayer:
    """Runs a scenario. All randomness comes from `rng`; `blocks` are made one after the other."""

    def __init__(self, scenario: Scenario, rng: np.random.Generator) -> None:
        rig = scenario.rig
        of_walk, of_boom, of_meter, of_wheel, of_transducer = rng.spawn(5)
        self.scenario = scenario
        self.set_pressure_pa = scenario.regulator.pressure_pa or rig.nozzles.reference_pressure_pa
        self.walk: Walk = walk(scenario.walk, self._pace(), scenario.disturbances, scenario.duration_s, of_walk)
        self.disturbances = Disturbances(self.walk.disturbances)
        self.curve = true_curve(scenario)
        length = self.walk.duration_s
        self._boom = Boom(self._boom_spec(), self.disturbances, length, of_boom)
        self._meter = FlowMeter(self.curve, scenario.meter, self.disturbances, length, of_meter)
        self._wheel = (
            WheelSensor(rig.wheel.metres_per_pulse, scenario.wheel, self.disturbances, of_wheel) if rig.wheel else None
        )
        self._transducer = (
            Transducer(
                rig.pressure,
                scenario.transducer,
                scenario.board.adc_full_scale,
                self.disturbances,
                length,
                of_transducer,
            )
            if rig.pressure
            else None
        )
        self.now_s = 0.0
        self.sprayed_m3 = 0.0
        self.leaked_m3 = 0.0
        self.begun_m3: list[float] = []  # sprayed before each pass that has begun
        self._spray_edges = np.array([time for p in self.walk.passes for time in (p.begin_s, p.end_s)])

    @property
    def duration_s(self) -> float:
        """Length of the whole run."""
        return self.walk.duration_s

    @property
    def dry_since_s(self) -> float | None:
        """When the tank first ran dry."""
        return self._boom.dry_since_s

    @property
    def tank_left_m3(self) -> float:
        """What is in the tank now."""
        return self._boom.tank_left_m3

    def next_block(self) -> Block | None:
        """The next stretch of the run; None when the run is over."""
        first = round(self.now_s / STEP_S)
        steps = min(_STEPS, round(self.duration_s / STEP_S) - first)
        if steps <= 1:
            return None
        t = grid(STEP_S, first + 1, steps)
        speed = np.interp(t, self.walk.t, self.walk.speed_m_s)
        valve, switch = (self._spray_at(t + early) for early in (0.0, self.scenario.walk.switch_early_s))
        refilled = [end for _, end in self.walk.refills if t[0] - STEP_S < end <= t[-1]]
        boom = self._boom.block(t, valve, speed > 0.05, refilled)
        self._account(boom)
        self.now_s = float(t[-1])
        nothing = np.empty(0)
        adc = np.zeros(steps, dtype=np.int64)
        return Block(
            end_s=self.now_s,
            flow_edges_s=self._meter.edges(boom),
            wheel_edges_s=self._wheel.edges(t, self._distance_steps(t)) if self._wheel else nothing,
            sample_s=t,
            adc=self._transducer.counts(t, boom.pressure_pa) if self._transducer else adc,
            switch=switch,
            supply_low=boom.supply_low,
        )

    def _spray_at(self, t: Floats) -> Bools:
        """Whether the walker means to spray; each value stands for the whole step that ends at its `t`."""
        return np.asarray(np.searchsorted(self._spray_edges, t - STEP_S / 2) % 2 == 1)

    def _distance_steps(self, t: Floats) -> Floats:
        return np.diff(self.walk.distance_at(np.concatenate([t[:1] - STEP_S, t])))

    def _account(self, boom: BoomBlock) -> None:
        sprayed = self.sprayed_m3 + np.concatenate([np.zeros(1), np.cumsum(boom.sprayed_m3_s) * STEP_S])
        times = np.concatenate([boom.t[:1] - STEP_S, boom.t])
        for one in self.walk.passes[len(self.begun_m3) :]:
            if one.begin_s > times[-1]:
                break
            self.begun_m3.append(float(np.interp(one.begin_s, times, sprayed)))
        self.sprayed_m3 = float(sprayed[-1])
        self.leaked_m3 += float(boom.leaked_m3_s.sum()) * STEP_S

    def _pace(self) -> float:
        """The walker's pace: as given, or the one that gives the target rate at the set pressure."""
        rig, given = self.scenario.rig, self.scenario.walk.pace_m_s
        if given is not None:
            return given
        flow = rig.nozzles.count * float(rig.nozzles.flow_m3_s(self.set_pressure_pa))
        return float(speed_for_rate(flow, rig.target.rate_m3_m2, rig.swath_m))

    def _boom_spec(self) -> BoomSpec:
        rig, pressure = self.scenario.rig, self.set_pressure_pa
        flow = rig.nozzles.count * float(rig.nozzles.flow_m3_s(pressure))
        return BoomSpec(
            nozzles=rig.nozzles.count,
            coefficient=flow / pressure**0.5,
            set_pressure_pa=pressure,
            pump=_pump(rig, pressure, flow),
            tank_m3=rig.tank.volume_m3,
            strokes=self.scenario.pump,
            regulator=self.scenario.regulator,
            ground=self.scenario.ground,
            valve_s=self.scenario.walk.valve_s,
        )


def _pump(rig: Rig, pressure_pa: float, flow_m3_s: float) -> Pump:
    if rig.pump is not None and rig.pump.known:
        (low, most), (high, least) = rig.pump.points[0], rig.pump.points[-1]
        if rig.pump.straight:
            return Pump(most, high)
        slope = max((most - least) / (high - low), 1e-6 * most / high)  # the line has an end, however far away
        return Pump(most + slope * low, low + most / slope)
    # A pump of the size one would buy for this boom: half as much again at working pressure, shut off at twice it.
    return Pump(3.0 * flow_m3_s, 2.0 * pressure_pa)


def true_curve(scenario: Scenario) -> Curve:
    """The meter's true factor over frequency: the rig's, put out by the scenario's `deviation`."""
    meter, deviation = scenario.rig.meter, scenario.meter.deviation
    own = meter.curve if len(meter.curve) > 1 or not deviation else ()  # a constant factor belongs to no frequency
    frequency = np.unique([point[0] for point in (*own, *deviation)])
    factor = np.asarray(meter.pulses_per_m3(frequency), dtype=np.float64)
    if deviation:
        at, by = np.array(deviation).T
        factor = factor * (1.0 + np.interp(frequency, at, by))
    return Curve(frequency, factor)
