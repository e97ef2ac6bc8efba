"""Faults that show by themselves, without a baseline: sensors, board, link, no flow, no pressure.

Each rule is a condition per frame and two times: how long it must hold, and how long it must be gone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_protocol.messages import Flag
from host.pipeline.carry import HoldLast, Previous, RunningSum
from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.coefficient import SETTLE_US, Boom
from host.pipeline.faults.debounce import Latch
from host.pipeline.faults.inputs import Scene
from host.rig import Rig

_RAIL_COUNTS = 100  # an open wire reads near 0, a short near full scale: at least 255
_FROZEN_S = 1.5
_NO_FLOW_PULSES = 6.0  # that should have come since the last one
_LOW_SHARE = 0.5  # of the pressure at which the rig's nozzles are stated
_WHEEL_PERIODS = 4.0
_BRAKED = 0.6  # of the usual speed: slower last pulses mean that the walker stopped
_SILENCE_S = 1.0
_LOSSES, _LOSS_FRAMES = 0.03, 100
_ROUGH_RIDE = 0.4  # of the last three seconds: a stone shakes the pressure for half a second


@dataclass(frozen=True)
class Turn:
    """A rule goes on or off in frame `place`; `since_us` is when its condition began, on the board's clock."""

    place: int
    rule: str
    on: bool
    since_us: int


_TIMES = {
    "transducer_open": (0.3, 1.0),
    "transducer_short": (0.3, 1.0),
    "transducer_frozen": (_FROZEN_S, 0.5),
    "no_flow": (0.3, 0.3),
    "pressure_low": (2.0, 3.0),
    "wheel_stuck": (0.05, 0.05),
    "false_pulses": (1.5, 5.0),
    "unsteady": (1.0, 4.0),
    "battery": (1.0, 5.0),
    "link_poor": (1.0, 10.0),
}


_HELD = ("transducer_frozen", "no_flow", "pressure_low", "unsteady", "wheel_stuck")


class Rules:
    """All rules side by side."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._reference_pa = rig.nozzles.reference_pressure_pa
        self._latches = {name: Latch(*times) for name, times in _TIMES.items()}
        self._mean_before, self._spray_before = Previous(-1), Previous(False)
        self._spray_since = HoldLast(0)
        self._switch_before, self._switch_since = Previous(False), HoldLast(0)
        self._usual_hz = 0.0
        self._lost = _Share(_LOSS_FRAMES)
        self._wrong, self._jolts = _Share(30), _Share(30)
        self._held = {name: HoldLast(False) for name in _HELD}
        self._host_before = Previous(0.0)
        self._first = True

    def push(self, scene: Scene, boom: Boom) -> list[Turn]:
        """What turned on or off in these frames, in order; a gap and a restart turn on and off at once."""
        board_us = scene.counts.board_us
        if not len(board_us):
            return []
        conditions = self._conditions(scene, boom)
        turns: list[Turn] = []
        for name, latch in self._latches.items():
            on, off, since = latch.push(board_us, conditions[name])
            turns += [Turn(int(place), name, True, int(since[place])) for place in on]
            turns += [Turn(int(place), name, False, int(board_us[place])) for place in off]
        turns += self._gaps(scene)
        return sorted(turns, key=lambda turn: (turn.place, turn.rule, turn.on))

    def _conditions(self, scene: Scene, boom: Boom) -> dict[str, Bools]:
        board_us, pressure = scene.counts.board_us, scene.pressure.mean_pa
        counts = scene.frames["pressure_mean"].astype(np.int64)
        spraying = scene.spraying
        starts = spraying & ~self._spray_before(spraying)
        long = spraying & (board_us - self._spray_since(board_us, starts) > SETTLE_US)
        flowing = scene.flow.frequency_hz > 0
        unread = np.isnan(pressure) if self._rig.pressure else np.zeros(len(board_us), dtype=np.bool_)
        low_rail = counts < 16 * _RAIL_COUNTS
        same = counts == self._mean_before(counts)
        flat = scene.frames["pressure_min"] == scene.frames["pressure_max"]
        known = np.where(np.isfinite(pressure), pressure, self._reference_pa)
        due = self._rig.nozzles.count * self._rig.nozzles.coefficient * np.sqrt(np.maximum(known, 0.0)) * scene.per_m3
        switch = (scene.frames["flags"] & Flag.SPRAY) != 0
        should_spray = long | (switch & (board_us - self._switched(switch, board_us) > SETTLE_US))
        idle_s = scene.flow.idle_us * 1e-6
        low = np.isfinite(pressure) & (pressure < _LOW_SHARE * self._reference_pa)
        turning = scene.counts.wheel.step > 0
        found = {
            "transducer_open": unread & low_rail,
            "transducer_short": unread & ~low_rail,
            "transducer_frozen": ~unread & same & flat,
            "no_flow": should_spray & (idle_s * np.maximum(due, 2.0) > _NO_FLOW_PULSES),
            "pressure_low": long & low,
            "wheel_stuck": self._wheel(scene, long & flowing),
            "false_pulses": self._wrong.push(boom.wrong) > 0.15,
            "unsteady": self._jolts.push(boom.jolt & boom.settled) > _ROUGH_RIDE,
            "battery": ((scene.frames["flags"] & Flag.SUPPLY_LOW) != 0),
            "link_poor": self._losses(scene) > _LOSSES,
        }
        # Whether the spray is shut in a turn says nothing about these: what was last seen stands.
        told = {
            "transducer_frozen": ~same | (long & flowing),
            "no_flow": should_spray,
            "pressure_low": long,
            "unsteady": boom.settled,
            "wheel_stuck": (long & flowing) | turning,
        }
        return found | {name: np.asarray(held(found[name], told[name])) for name, held in self._held.items()}

    def _switched(self, switch: Bools, board_us: Ints) -> Ints:
        return np.asarray(self._switch_since(board_us, switch & ~self._switch_before(switch)))

    def _wheel(self, scene: Scene, spraying: Bools) -> Bools:
        """Silent for several periods of a speed that was the usual one until the last pulse."""
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
        silent = scene.wheel_idle_us * 1e-6 * rate > np.maximum(_WHEEL_PERIODS, rate * 0.5)
        return np.asarray(spraying & silent & (rate > 0) & (scene.wheel_hz > _BRAKED * rate))

    def _losses(self, scene: Scene) -> Floats:
        """Share of the last frames that never arrived; long gaps are another matter."""
        return self._lost.push(np.where(scene.counts.lost <= 3, scene.counts.lost, 0))

    def _gaps(self, scene: Scene) -> list[Turn]:
        counts = scene.counts
        before = self._host_before(scene.host_s)
        quiet = (scene.host_s - before > _SILENCE_S) & ~counts.reset
        if self._first:
            quiet[0] = False
            self._first = False
        turns = []
        for rule, where in (("link_stale", quiet), ("board_reset", counts.reset)):
            for place in np.flatnonzero(where).tolist():
                since = int(counts.board_us[place] - counts.step_us[place])
                turns.append(Turn(place, rule, True, since))
        return turns


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
