"""The fault watch: a stage like the others, frames in, faults out."""

from __future__ import annotations

import math

import numpy as np

from firmware_protocol.messages import Flag
from host.pipeline.columns import Floats
from host.pipeline.faults.boom_faults import FLICKERING, BoomFaults, Stretch
from host.pipeline.faults.coefficient import BoomCoefficient
from host.pipeline.faults.debounce import Latch
from host.pipeline.faults.droop import Droop
from host.pipeline.faults.fault import Fault
from host.pipeline.faults.inputs import Scene
from host.pipeline.faults.open_fault import Opened
from host.pipeline.faults.ring_buffer import Tail
from host.pipeline.faults.rules import Rules, Turn
from host.pipeline.faults.steps import StepWatch, Usable
from host.pipeline.faults.tuning import TUNING
from host.pipeline.tank import refill_not_told
from host.rig import Rig

_US, _HOST, _LOG_P, _AREA, _LOW, _TANK, _SPRAYING = range(7)
_EXPLAINS = ("transducer_open", "transducer_short", "transducer_frozen", "no_flow", "pressure_low", "unsteady")
_AT_ONCE = ("link_stale", "board_reset")  # known only once they are over


class FaultWatch:
    """Follows one run.

    `coefficient` is the whole boom's orifice coefficient from a catch test (m³/s/√Pa) and `relative_u` its relative
    standard uncertainty; without them the baseline is learned from the first seconds of spraying, and then a nozzle
    that is clogged from the start is taken for granted.
    """

    def __init__(
        self,
        rig: Rig,
        coefficient: float | None = None,
        relative_u: float = 0.0,
    ) -> None:
        self._rig = rig
        self._boom, self._rules = BoomCoefficient(), Rules(rig)
        self._steps = StepWatch()
        self._droop = Droop()
        self._all: list[Opened] = []
        self._by_rule: dict[str, Opened] = {}
        known = None if coefficient is None else (math.log(coefficient), relative_u)
        self._boom_faults = BoomFaults(rig.nozzles.count, self._droop, self._open, known)
        self._tail = Tail(7, TUNING.watch_tail)
        self._shut, self._on = (Latch(TUNING.give_s + TUNING.turn_level_s, 0.0) for _ in range(2))
        self._now_m2 = 0.0

    def faults(self) -> list[Fault]:
        """Every fault of the run so far, in the order in which they were called."""
        return [one.told(self._now_m2, self._rig.nozzles.count) for one in self._all]

    def push(self, scene: Scene) -> None:
        """Continue with the frames of `scene`."""
        n = len(scene.host_s)
        if not n:
            return
        glitch = (scene.frames["flags"] & Flag.FLOW_GLITCH) != 0
        boom = self._boom.push(scene.counts, scene.per_m3, scene.pressure.mean_pa, scene.spraying, glitch)
        turns = self._rules.push(scene, boom)
        with np.errstate(divide="ignore", invalid="ignore"):
            log_p = np.log(scene.pressure.mean_pa)
        low = (scene.frames["flags"] & Flag.SUPPLY_LOW) != 0
        board_us = scene.counts.board_us
        self._tail.push(board_us, scene.host_s, log_p, scene.area_m2, low, scene.tank_left_m3, 1.0 * scene.spraying)
        places = np.flatnonzero(boom.usable)
        watched = self._steps.push(
            Usable(
                boom.pulses[places],
                boom.expected[places],
                boom.edge[places],
                log_p[places],
                np.log(boom.root_pa[places]),
                board_us[places] * 1e-6,
                boom.doubtful[places],
            )
        )
        stretch = Stretch(places, watched, log_p[places], scene.host_s[places], scene.area_m2[places])
        self._boom_faults.begin(stretch)
        switch = (scene.frames["flags"] & Flag.SPRAY) != 0
        ticks: list[tuple[int, int, Turn | int]] = [(turn.place, 0, turn) for turn in turns]
        for latch, condition in ((self._shut, ~scene.spraying & ~switch), (self._on, scene.spraying)):
            settled, _, since = latch.push(board_us, condition)
            ticks += [(int(place), 1, int(since[place])) for place in settled]
        for place, _, turn in sorted(ticks, key=lambda tick: tick[:2]):
            self._boom_faults.follow(place, self._explained())
            if isinstance(turn, Turn):
                self._turned(turn)
            else:
                self._spray_turned(place, turn)
        self._boom_faults.follow(n - 1, self._explained())
        self._now_m2 = float(scene.area_m2[-1])

    def _open(self, kind: str, began_s: float, called_s: float, began_m2: float) -> Opened:
        last = next((one for one in reversed(self._all) if one.kind == kind and one.ended_s is not None), None)
        if kind in FLICKERING and last is not None and began_s - (last.ended_s or 0.0) < TUNING.resumed_s:
            last.ended_s, last.ended_m2 = None, math.nan
            return last
        one = Opened(len(self._all) + 1, kind, began_s, called_s, began_m2)
        self._all.append(one)
        return one

    def _explained(self) -> bool:
        """Whether what the boom's coefficient does now has a better explanation."""
        return any(rule in self._by_rule for rule in _EXPLAINS)

    def _turned(self, turn: Turn) -> None:
        rows = self._tail.upto(turn.place, TUNING.watch_tail)
        now_s, now_m2 = float(rows[_HOST, -1]), float(rows[_AREA, -1])
        if not turn.on:
            one = self._by_rule.pop(turn.rule, None)
            if turn.rule == "false_pulses":
                self._boom_faults.false_pulses(False, now_s, now_s, now_m2)
            elif one is not None and one.ended_s is None and one not in self._by_rule.values():
                one.ended_s, one.ended_m2, one.final = now_s, now_m2, True
            return
        began_s = float(np.interp(turn.since_us, rows[_US], rows[_HOST]))
        began_m2 = float(np.interp(turn.since_us, rows[_US], rows[_AREA]))
        if turn.rule == "false_pulses":
            self._boom_faults.false_pulses(True, began_s, now_s, began_m2)
            return
        if turn.rule == "pressure_low" and self._boom_faults.takes_more:
            return
        kind, or_else, sure = self._named(turn.rule, rows, turn.since_us)
        taken = self._boom_faults.taken_over(began_s - 3.0) if turn.rule in _EXPLAINS else None
        same = next((one for one in self._by_rule.values() if one.kind == kind and one.ended_s is None), None)
        one = taken or same or self._open(kind, began_s, now_s, began_m2)
        one.kind, one.before, one.final = kind, math.nan, False
        one.or_else, one.sure = or_else, sure
        if turn.rule in _AT_ONCE:
            one.ended_s, one.ended_m2, one.final = now_s, now_m2, True
        else:
            self._by_rule[turn.rule] = one

    def _named(self, rule: str, rows: Floats, since_us: int) -> tuple[str, tuple[str, ...], float]:
        if rule == "no_flow":
            return self._no_flow(rows)
        if rule in ("pressure_low", "unsteady"):
            if self._nearly_empty(rows):
                return "tank_empty", ("air",), 0.8
            if rule == "unsteady":
                return "air", (), 0.9
            return ("battery" if rows[_LOW, rows[_US] >= since_us].any() else rule), (), 0.9
        return rule, (), 0.7 if rule == "wheel_stuck" else 0.95

    def _nearly_empty(self, rows: Floats) -> bool:
        """By the count; where a refill was not told it says nothing."""
        left_m3, full_m3 = float(rows[_TANK, -1]), self._rig.tank.volume_m3
        return left_m3 < TUNING.nearly_empty * full_m3 and not refill_not_told(left_m3, full_m3)

    def _no_flow(self, rows: Floats) -> tuple[str, tuple[str, ...], float]:
        """Meter or valve: shutting the boom raises the pressure before the valve, a stuck rotor does not."""
        pressures = rows[_LOG_P, -3:]
        before = self._boom_faults.pressure_before
        if not np.isfinite(pressures).any() or not math.isfinite(before):
            return "meter_stuck", ("valve_shut",), 0.5
        moved = float(np.nanmean(pressures)) - before
        if self._nearly_empty(rows) and moved < -0.3:
            return "tank_empty", ("pump_off",), 0.8
        if moved < -0.7:
            return "pump_off", (), 0.9
        droop, droop_u = self._droop.value
        if math.isnan(droop):
            return "meter_stuck", ("valve_shut",), 0.5
        rise = math.log1p(droop)
        stuck = math.exp(-0.5 * (moved / TUNING.pressure_sd) ** 2) / TUNING.pressure_sd
        spread = math.hypot(TUNING.pressure_sd, droop_u)
        shut = math.exp(-0.5 * ((moved - rise) / spread) ** 2) / spread
        if stuck + shut <= 0.0:
            stuck, shut = (1.0, 0.0) if moved < rise / 2 else (0.0, 1.0)
        sure = max(stuck, shut) / (stuck + shut)
        names = ("meter_stuck", "valve_shut") if stuck > shut else ("valve_shut", "meter_stuck")
        return names[0], names[1:] if sure < 0.9 else (), sure

    def _spray_turned(self, place: int, since_us: int) -> None:
        """The spray has come on or gone off and the pressure has settled: it tells how stiff the regulator is, what the
        pump lacks, or how much the boom takes."""
        rows = self._tail.upto(place, TUNING.watch_tail)
        ago_us = since_us - rows[_US]
        lead_us = 0.0 if self._rig.spray_switch else TUNING.stopped_s * 1e6
        earlier = rows[:, (ago_us >= lead_us) & (ago_us < lead_us + TUNING.turn_level_s * 1e6)]
        later = rows[:, ago_us < -TUNING.give_s * 1e6]
        on, off = (later, earlier) if later[_SPRAYING, -1] else (earlier, later)
        if len(earlier[0]) < TUNING.turn_level_frames or not on[_SPRAYING].all() or off[_SPRAYING].any():
            return
        rise = float(np.mean(off[_LOG_P]) - np.mean(on[_LOG_P]))
        if not math.isfinite(rise):
            return
        low = self._by_rule.get("pressure_low")
        if low is not None and low.kind == "pressure_low":
            low.kind, low.sure, low.final = ("supply_short" if rise > TUNING.returns else "regulator"), 0.85, True
        elif low is None and not self._explained():
            self._boom_faults.turned(rise, float(np.mean(later[_HOST]) - np.mean(earlier[_HOST])))
