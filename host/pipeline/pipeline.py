"""All stages in a row."""

from __future__ import annotations

import numpy as np

from host.frames import Event, Frames
from host.pipeline.applying import SprayState
from host.pipeline.carry import Highest, Previous, RunningSum
from host.pipeline.certainty import RateCertainty
from host.pipeline.clock import ClockScale
from host.pipeline.columns import Bools, Floats, Ints, Signals
from host.pipeline.counts import Counts, CountUnwrapper
from host.pipeline.faults.fault import Fault
from host.pipeline.faults.inputs import Scene
from host.pipeline.faults.watch import FaultWatch
from host.pipeline.fitted import Capabilities, Fitted
from host.pipeline.ground import GroundTotals, State
from host.pipeline.pressure import PressureReading
from host.pipeline.pulses import PulseTimer
from host.pipeline.rate import Progress, RateWindow
from host.pipeline.refused import Refused, RefusedEdges
from host.pipeline.rows import ROW, Why
from host.pipeline.settle import LONGEST_GAP_US, Pass, Settled, Settler, Unassigned
from host.pipeline.tank import TankLevel
from host.pipeline.travel import Traveller
from host.rig import Rig

_STOP_PERIODS = 4.0  # flow below a quarter of the rated one is no spraying
_STOP_RANGE_S = (0.15, 1.5)


class Pipeline:
    """Frames of one run to signals and passes, in pieces of any size.

    `passes` holds the passes that have ended; `finish` ends the last one. `catch` is the boom's orifice coefficient
    (m³/s/√Pa, all nozzles) from a catch test and its relative standard uncertainty with that of meter and transducer
    in it, for the watch over faults: see host.calibrate.boom_card. The watch takes most of the time; no signal depends
    on it, and without `watch_faults` it is left out.
    """

    def __init__(self, rig: Rig, catch: tuple[float, float] | None = None, *, watch_faults: bool = True) -> None:
        self.rig = rig
        self.certainty = RateCertainty(rig)
        self._unwrap = CountUnwrapper()
        self._clock = ClockScale()
        self._flow = PulseTimer(flow_stop_s(rig) * 1e6)
        self._travel = Traveller(rig)
        self._capabilities = Capabilities(rig)
        self._refused = RefusedEdges()
        self._spraying = SprayState()
        self._pressure = PressureReading(rig.pressure)
        self._rate = RateWindow(rig.swath_m, self.certainty)
        self._ground = GroundTotals(rig)
        self._settler = Settler(rig.swath_m, rig.target, self.certainty)
        self._tank = TankLevel(rig.tank.volume_m3)
        self._watch = FaultWatch(rig, *(catch or (None, 0.0))) if watch_faults else None
        self._volume, self._lost, self._resets = RunningSum(), RunningSum(), RunningSum()
        self._dropped, self._unsent = RunningSum(), RunningSum()
        self._furthest, self._way_before, self._first = Highest(0.0), Previous(0.0), True

    def push(self, frames: Frames, events: list[Event]) -> Signals:
        """Signals of `frames`, shape (n,) of FRAME_DTYPE, in which `events` lie as their `before_frame` says."""
        host_s = frames["host_s"].copy()
        counts = self._unwrap.push(frames, events)
        scale = self._clock.push(counts, host_s)
        step_s = counts.step_us * 1e-6 * scale
        flow = self._flow.push(counts, counts.flow)
        fitted = self._capabilities.push(len(frames), events)
        spraying = self._spraying.push(frames, counts, flow, fitted.by_switch)
        travel = self._travel.push(counts, scale, np.where(spraying, step_s, 0.0))
        moving = travel.moving
        per_m3 = self.rig.meter.pulses_per_m3(flow.counted_hz / scale)
        step_m3 = (counts.flow.step + counts.flow.late) / per_m3
        volume = self._volume(step_m3)
        pressure = self._pressure.push(frames, events)
        rate = self._rate.push(
            Progress(
                board_us=counts.board_us,
                volume_m3=volume + (flow.total - counts.flow.total) / per_m3,
                distance_m=travel.smooth_m,
                flow_pulse_m3=1 / per_m3,
                wheel_pulse_m=travel.pulse_m,
                applying=spraying & moving,
                broken=counts.broken,
            )
        )
        refused = self._refused.push(frames, counts, {"flow": flow.counted_hz, "wheel": travel.counted_hz}, events)
        why = self._why(counts, fitted, refused["flow"] | refused["wheel"])
        known = (why == Why.ASSIGNED) & (counts.step_us <= LONGEST_GAP_US)
        state = State(spraying, moving, known, step_s, travel.step_m, step_m3, rate.rate_m3_m2)
        ground = self._ground.push(state)
        course = self.rig.course
        way = self._furthest(travel.smooth_m)  # what was carried on from the last pulse is kept when the wheel stops
        rows = np.empty(len(frames), dtype=ROW)
        for name, column in {
            "us": counts.board_us,
            "step_us": counts.step_us,
            "step_s": step_s,
            "host_s": host_s,
            "step_m": step_s * course.speed_m_s if course else way - self._way_before(way),
            "step_m3": step_m3,
            "pulses": counts.flow.total,
            "edge_us": counts.flow.edge_us,
            "timed": counts.flow.timed,
            "turned": (counts.wheel.step > 0) | (course is not None),
            "pressure_pa": pressure.mean_pa,
            "rate_m3_m2": rate.rate_m3_m2,
            "spraying": spraying,
            "moving": moving | (course is not None),
            "by_switch": fitted.by_switch,
            "why": why,
        }.items():
            rows[name] = column
        number, in_pass = self._settler.push(rows)
        flow_m3_s = flow.frequency_hz / scale / per_m3
        tank_left = self._tank.push(volume, events)
        if self._watch:
            self._watch.push(
                Scene(
                    frames=frames,
                    host_s=host_s,
                    counts=counts,
                    flow=flow,
                    per_m3=per_m3,
                    pressure=pressure,
                    spraying=spraying,
                    wheel_idle_us=travel.idle_us,
                    wheel_hz=travel.counted_hz,
                    area_m2=ground.area_m2,
                    tank_left_m3=tank_left,
                    refused=refused["flow"],
                    has_pressure=fitted.pressure,
                )
            )
        return Signals(
            host_s=host_s,
            board_s=counts.board_us * 1e-6,
            clock_scale=scale,
            flow_m3_s=flow_m3_s,
            volume_m3=volume,
            pressure_pa=pressure.mean_pa,
            pressure_min_pa=pressure.min_pa,
            pressure_max_pa=pressure.max_pa,
            speed_m_s=travel.speed_m_s,
            distance_m=travel.distance_m,
            area_m2=ground.area_m2,
            spraying=spraying,
            moving=moving,
            rate_m3_m2=rate.rate_m3_m2,
            rate_u_m3_m2=rate.u_m3_m2,
            pace_wanted_m_s=self._pace_wanted(spraying, rate.flow_m3_s / scale, flow_m3_s),
            off_target=ground.off_target,
            side=ground.side,
            off_target_s=ground.off_target_s,
            off_target_m2=ground.off_target_m2,
            standing_s=ground.standing_s,
            standing_m3=ground.standing_m3,
            spraying_s=ground.spraying_s,
            pass_number=number,
            in_pass=in_pass,
            tank_left_m3=tank_left,
            tank_covers_m2=self._covers(tank_left),
            lost_frames=self._lost(counts.lost),
            resets=self._resets(counts.reset.astype(np.int64)),
            dropped_pulses=self._dropped(counts.dropped),
            unsent_lines=self._unsent(counts.unsent),
        )

    def finish(self) -> None:
        """End the pass under way: the run is over."""
        self._settler.finish()

    @property
    def passes(self) -> list[Pass]:
        """The passes that have ended, in order."""
        return self._settler.passes

    @property
    def unassigned(self) -> list[Unassigned]:
        """What does not belong to known ground, in order of time."""
        return self._settler.unassigned

    @property
    def no_wheel(self) -> bool:
        """Whether the rig has a wheel and the board no input for it: no ground can be measured then."""
        return self._capabilities.no_wheel

    @property
    def refused(self) -> list[Refused]:
        """When an input refused more edges than is good, in order of time."""
        return self._refused.windows

    @property
    def dropped(self) -> dict[str, int]:
        """Pulses that the board failed to count and has told of which input they were: by input, "flow" and "wheel"."""
        return self._unwrap.put_back

    def take_settled(self) -> Settled:
        """The rows settled since the last call: after `finish`, all calls together give one row for each frame."""
        return self._settler.take()

    def sums(self) -> dict[str, float]:
        """Sums over the run so far of the columns of Settled; what is not settled yet is in them as it stands."""
        return self._settler.sums()

    def faults(self) -> list[Fault]:
        """What has been found wrong so far, in the order in which it was called; those under way have no end."""
        return self._watch.faults() if self._watch else []

    def current_pass(self) -> Pass | None:
        """The pass under way, as far as it has come."""
        return self._settler.current()

    def _why(self, counts: Counts, fitted: Fitted, refused: Bools) -> Ints:
        why = np.where(fitted.no_wheel, Why.NO_WHEEL, np.where(refused, Why.REFUSED, Why.ASSIGNED))
        missed = (counts.dropped > 0) | (counts.flow.late > 0) | (counts.wheel.late > 0)
        why = np.where(missed, Why.DROPPED, why)
        why = np.where(counts.broken, np.where(counts.reset, Why.RESTART, Why.OTHER_COUNTS), why)
        if self._first and len(why):
            why[0] = Why.NO_WHEEL if fitted.no_wheel[0] else Why.ASSIGNED
            self._first = False
        return why

    def _pace_wanted(self, spraying: Bools, window_flow: Floats, flow: Floats) -> Floats:
        known = np.where(np.isfinite(window_flow), window_flow, flow)
        wanted = known / (self.rig.target.rate_m3_m2 * self.rig.swath_m)
        return np.where(spraying & (known > 0), wanted, np.nan)

    def _covers(self, tank_left: Floats) -> Floats:
        return np.maximum(tank_left, 0.0) / self.rig.target.rate_m3_m2


def flow_stop_s(rig: Rig) -> float:
    """How long after its last edge the flow meter counts as stopped: four periods at the rated flow."""
    rated = rig.nozzles.count * rig.nozzles.points[0][1]
    hz = rated * rig.meter.curve[0][1]
    return min(max(_STOP_PERIODS / hz, _STOP_RANGE_S[0]), _STOP_RANGE_S[1])
