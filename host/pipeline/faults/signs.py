"""What the rules look at: one array per sign, frame by frame, with what has to be remembered between chunks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firmware_protocol.messages import Flag
from host.pipeline.carry import HoldLast, Previous, RunningSum
from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.coefficient import Boom
from host.pipeline.faults.inputs import Scene
from host.pipeline.faults.shut_or_silent import ShutOrSilent
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING
from host.pipeline.faults.usual import SwitchHabits, UsualPressure
from host.rig import Rig


@dataclass(frozen=True)
class Signs:
    """Arrays of shape (n,)."""

    steady_spray: Bools  # spraying for long enough
    should_spray: Bools  # the switch has been on for as long as the flow needs to come
    shows_supply: Bools  # water is asked for, steadily or by starts and stops: the pressure tells what the pump gives
    meter_silent: Bools  # without a switch, before the valve: the pressure and the way say that it sprays all the same
    flowing: Bools
    pulses_due: Floats  # flow pulses that should have come since the last one
    pressure_unread: Bools  # no pressure in the counts
    low_rail: Bools  # counts near the bottom of the converter
    pressure_same: Bools  # as in the frame before
    pressure_flat: Bools  # no movement within the frame
    pressure_share: Floats  # of what the run began with; not a number while either is unknown
    pressure_low: Bools  # below half of what the run began with
    pressure_down: Bools  # clearly below what the run began with
    wheel_silent: Bools  # during spraying, for seconds
    wheel_doubted: Bools  # for longer than anybody stands
    wheel_turning: Bools
    coefficient_settled: Bools
    wrong_share: Floats  # of the last frames, with refused or impossible pulses
    refused_share: Floats  # of the last frames, with true pulses refused: they come too fast for the input's filter
    jolt_share: Floats
    lost_share: Floats
    supply_low: Bools
    silence: Bools  # nothing had come for long
    restarted: Bools


class SignReader:
    """Computes them, chunk after chunk."""

    def __init__(self, rig: Rig, timing: Timing) -> None:
        self._rig = rig
        self._mean_before = Previous(-1)
        self._start_since, self._start_before = HoldLast(0), Previous(0)
        self._habits, self._usual = SwitchHabits(rig.spray_switch), UsualPressure()
        self._silent, self._sprayed = ShutOrSilent(), HoldLast(math.nan)
        self._lost = _Share(TUNING.loss_frames)
        self._wrong, self._jolts, self._refused = (_Share(timing.frames(TUNING.share)) for _ in range(3))
        self._missed_us, self._held_us, self._moved_us = (HoldLast(-(2**62)) for _ in range(3))
        self._host_before, self._step = Previous(0.0), HoldLast(0)
        self._first = True

    def push(self, scene: Scene, boom: Boom) -> Signs:
        """Continue with the frames of `scene`, of which there is at least one."""
        board_us, pressure = scene.counts.board_us, scene.pressure.mean_pa
        counts = scene.frames["pressure_mean"].astype(np.int64)
        flags, flowing = scene.frames["flags"], scene.flowing
        started_us = self._start_since(board_us, boom.start != self._start_before(boom.start))
        steady = scene.spraying & flowing & (board_us - started_us > TUNING.settle_us)
        missed_us = self._missed_us(board_us, scene.missed)  # what the board did not count has come
        now_s, idle_s = board_us * 1e-6, np.minimum(scene.flow.idle_us, board_us - missed_us) * 1e-6
        usual_pa, mean_pa = self._usual.push(now_s, pressure, steady)
        low = np.isfinite(pressure) & (pressure < TUNING.low_pressure_share * usual_pa)
        hz = scene.flow.frequency_hz
        habits = self._habits.push(now_s, scene.switch, hz, idle_s, steady)
        due_hz = np.maximum(self._due_hz(scene), np.maximum(TUNING.least_flow_share * habits.usual_hz, 2.0))
        same = counts == self._mean_before(counts)
        flat = (scene.frames["pressure_min"] == scene.frames["pressure_max"]) & scene.fitted.pressure
        moved_us = self._moved_us(board_us, ~(same & flat))
        share = np.divide(pressure, usual_pa, out=np.full(len(pressure), np.nan), where=usual_pa > 0.0)
        alive = board_us - moved_us < 1_000_000
        sprays_on = self._sprays_on(scene.counts.step_us, flowing, idle_s, share, alive)
        meter_silent = np.zeros(len(board_us), dtype=np.bool_)
        if not self._rig.spray_switch:
            with np.errstate(divide="ignore", invalid="ignore"):
                log_p, sprayed = np.log(np.maximum(pressure, TUNING.floor_pa)), np.log(mean_pa)
            full = steady & (hz > TUNING.full_hz_share * habits.usual_hz) & np.isfinite(sprayed)
            rise = log_p - self._sprayed(sprayed, full)
            meter_silent = alive & self._silent.push(now_s, idle_s, flowing, rise, scene.counts.wheel.step)
        flows_on = self._rig.spray_switch | (hz > TUNING.walks_hz_share * habits.usual_hz)
        starts_and_stops = self._starts_and_stops(board_us, idle_s, low) & scene.fitted.sure_meter
        asked = habits.should_spray & scene.fitted.sure_meter
        return Signs(
            steady_spray=steady,
            # Without a flow meter input no pulse is due.
            should_spray=(habits.should_spray | sprays_on) & scene.fitted.sure_meter,
            shows_supply=steady | asked | starts_and_stops,
            meter_silent=meter_silent & scene.fitted.sure_meter,
            flowing=flowing,
            pulses_due=np.where(idle_s > habits.trail_s, idle_s, 0.0) * due_hz,
            # A rig or a board without a transducer hears nothing of pressure.
            pressure_unread=np.isnan(pressure) & scene.fitted.pressure,
            low_rail=counts < 16 * TUNING.rail_counts,
            pressure_same=same,
            pressure_flat=flat,
            pressure_share=share,
            pressure_low=low & (flows_on | starts_and_stops),
            pressure_down=np.isfinite(pressure) & (mean_pa < TUNING.down_pressure_share * usual_pa) & flows_on,
            wheel_silent=scene.wheel_silent,
            wheel_doubted=scene.wheel_doubted,
            wheel_turning=scene.counts.wheel.step > 0,
            coefficient_settled=boom.settled,
            wrong_share=self._wrong.push(boom.wrong & ~scene.missed),
            refused_share=self._refused.push(scene.refused),
            jolt_share=self._jolts.push(boom.jolt & boom.settled),
            lost_share=self._lost.push(np.where(scene.counts.lost <= 3, scene.counts.lost, 0)),  # long gaps are another
            supply_low=(flags & Flag.SUPPLY_LOW) != 0,
            silence=self._silence(scene),
            restarted=scene.counts.reset,
        )

    def _due_hz(self, scene: Scene) -> Floats:
        """Pulses that the pressure lets expect; 0 without one."""
        nozzles, pressure = self._rig.nozzles, scene.pressure.mean_pa
        known = np.where(np.isfinite(pressure), pressure, 0.0)
        return np.asarray(nozzles.count * nozzles.coefficient * np.sqrt(np.maximum(known, 0.0)) * scene.per_m3)

    def _sprays_on(self, step_us: Ints, flowing: Bools, idle_s: Floats, share: Floats, alive: Bools) -> Bools:
        """Without a switch the end of a pass shows in nothing but the flow and what the pressure does then, `share` of
        the usual one. Where that stays when the boom is shut and now has gone, the pump is off; where it goes and now
        has stayed, and the reading is `alive`, the meter gives no pulses."""
        if self._rig.spray_switch:
            return np.zeros(len(flowing), dtype=np.bool_)
        shut = ~flowing & (idle_s > 1.0) & (idle_s < 3.0) & np.isfinite(share)
        up = share > TUNING.up_pressure_share
        shut_us = np.where(shut, step_us, 0)
        stays, goes = self._usual.stays.push(shut_us, up, flowing), self._usual.goes.push(shut_us, ~up, flowing)
        pump_off = stays & (share < TUNING.gone_pressure_share) & (idle_s < 10.0)
        return np.asarray(~flowing & (pump_off | (goes & up & alive & (idle_s > TUNING.stays_up_s))))

    def _starts_and_stops(self, board_us: Ints, idle_s: Floats, low: Bools) -> Bools:
        """Without a switch: pulses have come and gone for seconds in which the pressure has never been up. A rotor that
        runs down is done sooner, and so is a boom that fills; a hand on the trigger lets the pressure up each time."""
        flows = idle_s < TUNING.flows_lately_s
        held_us = self._held_us(board_us, ~(low & flows))
        return np.asarray(~np.bool_(self._rig.spray_switch) & (board_us - held_us > 1e6 * TUNING.never_up_s))

    def _silence(self, scene: Scene) -> Bools:
        counts = scene.counts
        usual_us = self._step(counts.step_us, (counts.lost == 0) & ~counts.broken & (counts.step_us < 5_000_000))
        most_s = np.maximum(TUNING.silence_s, TUNING.silence_steps * 1e-6 * usual_us)
        quiet = (scene.host_s - self._host_before(scene.host_s) > most_s) & ~counts.reset
        if self._first:
            quiet[0] = False
            self._first = False
        return np.asarray(quiet)


class _Share:
    """How much of something there was in the last frames, over their number."""

    def __init__(self, frames: int) -> None:
        self._frames, self._sum = frames, RunningSum()
        self._past: Ints = np.zeros(frames + 1, dtype=np.int64)

    def push(self, what: Bools | Ints) -> Floats:
        """Continue with `what` was in each frame; shape kept."""
        total = np.concatenate((self._past, self._sum(what.astype(np.int64))))
        share = (total[self._frames + 1 :] - total[1 : -self._frames]) / self._frames
        self._past = total[-(self._frames + 1) :]
        return np.asarray(share, dtype=np.float64)
