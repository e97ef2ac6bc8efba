"""What the rules look at: one array per sign, frame by frame, with what has to be remembered between chunks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_protocol.messages import Flag
from host.pipeline.carry import HoldLast, Previous, RunningSum
from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.coefficient import Boom
from host.pipeline.faults.inputs import Scene
from host.pipeline.faults.tuning import TUNING
from host.rig import Rig


@dataclass(frozen=True)
class Signs:
    """Arrays of shape (n,)."""

    steady_spray: Bools  # spraying for long enough
    should_spray: Bools  # the switch says so, or it sprays
    flowing: Bools
    pulses_due: Floats  # flow pulses that should have come since the last one
    pressure_unread: Bools  # no pressure in the counts
    low_rail: Bools  # counts near the bottom of the converter
    pressure_same: Bools  # as in the frame before
    pressure_flat: Bools  # no movement within the frame
    pressure_low: Bools
    wheel_silent: Bools  # for several periods of a speed that was the usual one until the last pulse, while spraying
    wheel_turning: Bools
    coefficient_settled: Bools
    wrong_share: Floats  # of the last frames, with refused or impossible pulses
    jolt_share: Floats
    lost_share: Floats
    supply_low: Bools
    silence: Bools  # nothing had come for long
    restarted: Bools


class SignReader:
    """Computes them, chunk after chunk."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._reference_pa = rig.nozzles.reference_pressure_pa
        self._mean_before, self._spray_before = Previous(-1), Previous(False)
        self._spray_since = HoldLast(0)
        self._switch_before, self._switch_since = Previous(False), HoldLast(0)
        self._usual_hz = 0.0
        self._lost = _Share(TUNING.loss_frames)
        self._wrong, self._jolts = _Share(30), _Share(30)
        self._host_before = Previous(0.0)
        self._first = True

    def push(self, scene: Scene, boom: Boom) -> Signs:
        """Continue with the frames of `scene`, of which there is at least one."""
        board_us, pressure = scene.counts.board_us, scene.pressure.mean_pa
        counts = scene.frames["pressure_mean"].astype(np.int64)
        spraying, flags = scene.spraying, scene.frames["flags"]
        starts = spraying & ~self._spray_before(spraying)
        steady = spraying & (board_us - self._spray_since(board_us, starts) > TUNING.settle_us)
        flowing = scene.flow.frequency_hz > 0
        switch = (flags & Flag.SPRAY) != 0
        switched_us = self._switch_since(board_us, switch & ~self._switch_before(switch))
        known = np.where(np.isfinite(pressure), pressure, self._reference_pa)
        due_hz = (
            self._rig.nozzles.count * self._rig.nozzles.coefficient * np.sqrt(np.maximum(known, 0.0)) * scene.per_m3
        )
        return Signs(
            steady_spray=steady,
            should_spray=steady | (switch & (board_us - switched_us > TUNING.settle_us)),
            flowing=flowing,
            pulses_due=scene.flow.idle_us * 1e-6 * np.maximum(due_hz, 2.0),
            pressure_unread=np.isnan(pressure) if self._rig.pressure else np.zeros(len(board_us), dtype=np.bool_),
            low_rail=counts < 16 * TUNING.rail_counts,
            pressure_same=counts == self._mean_before(counts),
            # A rig without a transducer hears nothing of pressure.
            pressure_flat=(scene.frames["pressure_min"] == scene.frames["pressure_max"]) & bool(self._rig.pressure),
            pressure_low=np.isfinite(pressure) & (pressure < TUNING.low_pressure_share * self._reference_pa),
            wheel_silent=self._wheel_silent(scene, steady & flowing),
            wheel_turning=scene.counts.wheel.step > 0,
            coefficient_settled=boom.settled,
            wrong_share=self._wrong.push(boom.wrong),
            jolt_share=self._jolts.push(boom.jolt & boom.settled),
            lost_share=self._lost.push(np.where(scene.counts.lost <= 3, scene.counts.lost, 0)),  # long gaps are another
            supply_low=(flags & Flag.SUPPLY_LOW) != 0,
            silence=self._silence(scene),
            restarted=scene.counts.reset,
        )

    def _wheel_silent(self, scene: Scene, spraying: Bools) -> Bools:
        if self._rig.wheel is None:
            return np.zeros(len(spraying), dtype=np.bool_)
        usual = []
        held = self._usual_hz
        for hz, idle, on in zip(scene.wheel_hz.tolist(), scene.wheel_idle_us.tolist(), spraying.tolist(), strict=True):
            if on and hz > 0 and idle < 1e6 / hz:
                held = hz if held == 0 else held + (hz - held) * 0.02
            usual.append(held)
        self._usual_hz = held
        rate = np.array(usual)
        silent = scene.wheel_idle_us * 1e-6 * rate > np.maximum(TUNING.wheel_periods, rate * 0.5)
        return np.asarray(spraying & silent & (rate > 0) & (scene.wheel_hz > TUNING.braked_share * rate))

    def _silence(self, scene: Scene) -> Bools:
        before = self._host_before(scene.host_s)
        quiet = (scene.host_s - before > TUNING.silence_s) & ~scene.counts.reset
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
