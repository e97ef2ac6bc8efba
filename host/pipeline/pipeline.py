"""All stages in a row."""

from __future__ import annotations

import math

import numpy as np

from host.frames import Event, Frames
from host.pipeline.calibrating import Calibrating, CalibrationSpan
from host.pipeline.carry import Highest, HoldLast, Previous, RunningSum
from host.pipeline.certainty import RateCertainty
from host.pipeline.columns import Bools, Floats, Ints, Signals
from host.pipeline.counts import Counts
from host.pipeline.faults.fault import Fault
from host.pipeline.faults.inputs import Scene
from host.pipeline.faults.watch import FaultWatch
from host.pipeline.fitted import NOTHING, Fitted, Inputs
from host.pipeline.ground import GroundTotals
from host.pipeline.measured import Measured, Measurer
from host.pipeline.on_ground import Pass, Settled, Unassigned
from host.pipeline.rate import Progress, Rate, RateWindow
from host.pipeline.refused import Refused
from host.pipeline.rows import ROW, Rows, Why
from host.pipeline.settle import LONGEST_GAP_US, Settler
from host.pipeline.tank import TankLevel
from host.pipeline.travel import slow_pulse_us
from host.pipeline.wheel_silence import Silent, WheelSilence
from host.rig import Rig

_BY_SWITCH = ("meter_stuck", "valve_shut", "pump_off")  # faults: the switch is on, and no water comes
_ROLL_US = 2_000_000  # a wheel that gives no pulse for so long stands


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
        self.measured = NOTHING  # what could be measured in at least one frame
        self.refusing = False  # true pulses are refused just now: they come too fast for the filter of their input
        self.wheel_doubted = False  # spraying just now, the wheel silent for longer than anybody stands
        self._measure = Measurer(rig)
        self._rate = RateWindow(rig.swath_m, self.certainty)
        self._ground = GroundTotals(rig)
        self._settler = Settler(rig, self.certainty)
        self._tank = TankLevel(rig.tank.volume_m3)
        self._calibrating = Calibrating()
        self._watch = FaultWatch(rig, *(catch or (None, 0.0))) if watch_faults else None
        self._lost, self._resets, self._dropped, self._unsent = (RunningSum() for _ in range(4))
        self._unmetered, self._unwalked = RunningSum(), RunningSum()  # not a number once something was not measured
        self._end_s = math.nan  # when the run was ended, on the host's clock
        self._furthest, self._way_before, self._first = Highest(0.0), Previous(0.0), True
        self._wheel_silence = WheelSilence(slow_pulse_us(rig))
        self._turned_at_reset, self._reset_us = HoldLast(0), HoldLast(-_ROLL_US)

    def push(self, frames: Frames, events: list[Event]) -> Signals:
        """Signals of `frames`, shape (n,) of FRAME_DTYPE, in which `events` lie as their `before_frame` says."""
        self._end_s = next((event.host_s for event in events if event.kind == "run_end"), self._end_s)
        now = self._measure.push(frames, events)
        counts, travel, spraying = now.counts, now.travel, now.spraying
        rate = self._rate.push(_progress(now))
        fitted, refused = now.fitted, now.refused["flow"] | now.refused["wheel"]
        self.measured |= fitted.any
        self.refusing = bool(refused[-1]) if len(refused) else self.refusing
        why = self._why(counts, fitted, refused)
        known = (why == Why.ASSIGNED) & (counts.step_us <= LONGEST_GAP_US)
        ground = self._ground.push((spraying | now.dry.now) & known, travel.step_m, rate.rate_m3_m2)
        way_m = now.travel.step_m * (self.rig.wheel is not None)
        silent = self._silent(now, self._calibrating.push(events, now.host_s, spraying, way_m))
        self.wheel_doubted = bool(silent.doubted[-1]) if len(frames) else self.wheel_doubted
        number = self._settler.push(self._rows(now, rate, why, silent))
        volume = now.volume_m3 + self._unmetered(_unless(fitted.metered))
        tank_left = self._tank.push(volume, events)
        if self._watch:
            self._watch.push(_scene(frames, now, silent, ground.area_m2, tank_left))
        return Signals(
            host_s=now.host_s,
            board_s=counts.board_us * 1e-6,
            clock_scale=now.scale,
            flow_m3_s=now.flow_m3_s + _unless(fitted.meter),
            volume_m3=volume,
            pressure_pa=now.pressure.mean_pa,
            pressure_min_pa=now.pressure.min_pa,
            pressure_max_pa=now.pressure.max_pa,
            speed_m_s=travel.speed_m_s + _unless(fitted.way),
            distance_m=travel.distance_m + self._unwalked(_unless(fitted.walked)),
            spraying=spraying,
            moving=travel.moving,
            rate_m3_m2=rate.rate_m3_m2,
            rate_u_m3_m2=rate.u_m3_m2,
            pace_wanted_m_s=self._pace_wanted(spraying & fitted.meter, rate.flow_m3_s / now.scale, now.flow_m3_s),
            off_target=ground.off_target,
            side=ground.side,
            pass_number=number,
            tank_left_m3=tank_left,
            tank_covers_m2=self._covers(tank_left),
            lost_frames=self._lost(counts.lost),
            resets=self._resets(counts.reset.astype(np.int64)),
            dropped_pulses=self._dropped(counts.dropped),
            unsent_lines=self._unsent(counts.unsent),
        )

    def finish(self) -> None:
        """End the pass under way: the run is over."""
        self._settler.finish(self._end_s)

    @property
    def passes(self) -> list[Pass]:
        """The passes that have ended, in order."""
        return self._settler.passes

    @property
    def unassigned(self) -> list[Unassigned]:
        """What does not belong to known ground, in order of time."""
        return self._settler.unassigned

    @property
    def inputs(self) -> Inputs:
        """What can be measured, by the newest that the board has said."""
        return self._measure.inputs

    @property
    def bouncing(self) -> tuple[str, ...]:
        """Inputs, "flow" and "wheel", whose contact has been counting without a filter until now."""
        return self._measure.bouncing

    @property
    def refused(self) -> list[Refused]:
        """When an input refused more edges than is good, in order of time."""
        return self._measure.refused

    @property
    def put_back(self) -> dict[str, int]:
        """Pulses that the board dropped and has told of since: by input, "flow" and "wheel"."""
        return self._measure.put_back

    @property
    def overfilled_m3(self) -> float:
        """How much more was said to be filled into the tank than it had room for, since its level was last known."""
        return self._tank.over_m3

    def take_settled(self) -> Settled:
        """The rows settled since the last call: after `finish`, all calls together give one row for each frame."""
        return self._settler.take()

    def forget_settled(self) -> None:
        """Let the settled rows go, which would pile up all day: sums and passes stand without them."""
        self._settler.take()

    def sums(self) -> dict[str, float]:
        """Sums over the run so far of the columns of Settled; what is not settled yet is in them as it stands."""
        return self._settler.sums()

    def faults(self) -> list[Fault]:
        """What has been found wrong so far, in the order in which it was called; those under way have no end.

        What began while something was calibrated is left out, and what rested on a switch that reads the wrong way.
        """
        faults = self._calibrating.shown(self._watch.faults()) if self._watch else []
        wrong_s = self.switch_backwards_s
        return [fault for fault in faults if not (fault.kind in _BY_SWITCH and fault.began_s < wrong_s)]

    @property
    def switch_backwards_s(self) -> float:
        """Since when the spray switch is known to read the wrong way round (host's clock); not a number otherwise."""
        return self._measure.switch_backwards_s

    @property
    def calibrations(self) -> list[CalibrationSpan]:
        """When the run served a calibration."""
        return self._calibrating.spans

    @property
    def calibrating(self) -> bool:
        """Whether it does so now."""
        return self._calibrating.under_way

    def current_pass(self) -> Pass | None:
        """The pass under way, as far as it has come."""
        return self._settler.current()

    def _silent(self, now: Measured, calibrating: Bools) -> Silent:
        """Where the wheel gives no pulses during spraying, if it has an input that is known to be there.

        Who catches water in a jug stands, for as long as it takes.
        """
        sprays = now.spraying & (now.flow.frequency_hz > 0) & now.fitted.sure_wheel & ~calibrating
        return self._wheel_silence.push(now.counts, sprays)

    def _rows(self, now: Measured, rate: Rate, why: Ints, silent: Silent) -> Rows:
        """What the ground is settled from."""
        course, fitted = self.rig.course, now.fitted
        way = self._furthest(now.travel.smooth_m)  # what was carried on from the last pulse stays when the wheel stops
        rows = np.empty(len(why), dtype=ROW)
        for name, column in {
            "us": now.counts.board_us,
            "step_us": now.counts.step_us,
            "step_s": now.step_s,
            "host_s": now.host_s,
            "step_m": (now.step_s * course.speed_m_s if course else way - self._way_before(way)) + _unless(fitted.way),
            "step_m3": now.step_m3 + _unless(fitted.meter),
            "pulses": now.counts.flow.total,
            "edge_us": now.counts.flow.edge_us,
            "timed": now.counts.flow.timed,
            "turned": (now.counts.wheel.step > 0) | (course is not None),
            "wheel_pulses": now.counts.wheel.total,
            "wheel_edge_us": now.counts.wheel.edge_us,
            "pressure_pa": now.pressure.mean_pa,
            "rate_m3_m2": rate.rate_m3_m2,
            "spraying": now.spraying,
            "moving": now.travel.moving | (course is not None),
            "doubted": silent.doubted,
            "by_switch": fitted.switch,
            "dry": now.dry.now,
            "dry_long": now.dry.long,
            "dry_neither": now.dry.neither,
            "why": why,
        }.items():
            rows[name] = column
        return rows

    def _why(self, counts: Counts, fitted: Fitted, refused: Bools) -> Ints:
        unmeasured = np.where(~fitted.meter, Why.NO_METER, np.where(~fitted.way, Why.NO_WHEEL, Why.ASSIGNED))
        unmeasured = np.where(fitted.bounces, Why.ASSIGNED, unmeasured)
        why = np.where(refused, Why.REFUSED, Why.ASSIGNED)
        missed = (counts.dropped > 0) | (counts.flow.late > 0) | (counts.wheel.late > 0)
        why = np.where(fitted.bounces, Why.BOUNCES, np.where(missed, Why.DROPPED, why))
        why = np.where(self._rolling(counts), Why.RESTART, why)
        why = np.where(counts.broken, np.where(counts.reset, Why.RESTART, Why.OTHER_COUNTS), why)
        if self._first and len(why):
            why[0] = Why.BOUNCES if fitted.bounces[0] else Why.ASSIGNED
            self._first = False
        return np.where(unmeasured > 0, unmeasured, why)

    def _rolling(self, counts: Counts) -> Bools:
        """Up to the wheel's first pulse after a restart: how far it has rolled, or whether it stands, is not known."""
        if self.rig.wheel is None:
            return np.zeros(len(counts.reset), dtype=np.bool_)
        before = counts.wheel.total - counts.wheel.step - counts.wheel.late
        turned = before > self._turned_at_reset(before, counts.reset)
        return ~turned & (counts.board_us - self._reset_us(counts.board_us, counts.reset) < _ROLL_US)

    def _pace_wanted(self, spraying: Bools, window_flow: Floats, flow: Floats) -> Floats:
        known = np.where(np.isfinite(window_flow), window_flow, flow)
        wanted = known / (self.rig.target.rate_m3_m2 * self.rig.swath_m)
        return np.where(spraying & (known > 0), wanted, np.nan)

    def _covers(self, tank_left: Floats) -> Floats:
        return np.maximum(tank_left, 0.0) / self.rig.target.rate_m3_m2


def _unless(measured: Bools) -> Floats:
    """0 where something was measured, else not a number: added to a figure, it says that the figure is not known."""
    return np.where(measured, 0.0, np.nan)


def _progress(now: Measured) -> Progress:
    """What the rate is worked out from: it begins anew where pulses were not counted, or were put back later."""
    counts = now.counts
    missed = (counts.dropped > 0) | (counts.flow.late > 0) | (counts.wheel.late > 0)
    refused = now.refused["flow"] | now.refused["wheel"]
    return Progress(
        board_us=counts.board_us,
        volume_m3=now.volume_m3 + (now.flow.total - counts.flow.total) / now.per_m3,
        distance_m=now.travel.smooth_m,
        flow_pulse_m3=1 / now.per_m3,
        wheel_pulse_m=now.travel.pulse_m,
        applying=now.spraying & now.travel.moving & ~refused & now.fitted.ground,
        broken=counts.broken | missed,
    )


def _scene(frames: Frames, now: Measured, silent: Silent, area_m2: Floats, tank_left_m3: Floats) -> Scene:
    return Scene(
        frames=frames,
        host_s=now.host_s,
        counts=now.counts,
        flow=now.flow,
        per_m3=now.per_m3,
        pressure=now.pressure,
        spraying=now.spraying,
        wheel_silent=silent.shows,
        wheel_doubted=silent.doubted,
        area_m2=area_m2 + _unless(now.fitted.ground),
        tank_left_m3=tank_left_m3,
        refused=now.refused["flow"],
        fitted=now.fitted,
    )
