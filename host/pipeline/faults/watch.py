"""The fault watch: a stage like the others, frames in, faults out."""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np

from firmware_protocol.messages import Flag
from host.pipeline.carry import Previous
from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.boom_faults import BoomFaults
from host.pipeline.faults.boom_history import UsableFrames
from host.pipeline.faults.causes import RULES, Evidence, Rule, Verdict
from host.pipeline.faults.causes.pulses import FLICKERING
from host.pipeline.faults.coefficient import BoomCoefficient
from host.pipeline.faults.debounce import Debounce
from host.pipeline.faults.droop import Droop
from host.pipeline.faults.fault import Fault
from host.pipeline.faults.inputs import Scene
from host.pipeline.faults.naming import Naming
from host.pipeline.faults.open_fault import OpenFault, State
from host.pipeline.faults.ring_buffer import Tail
from host.pipeline.faults.rules import Rules, Turn
from host.pipeline.faults.steps import StepWatch, Usable
from host.pipeline.faults.timing import ReportInterval, Timing
from host.pipeline.faults.tuning import TUNING
from host.pipeline.tank import lowest_level
from host.rig import Rig

_US, _HOST, _LOG_P, _SHARE, _AREA, _LOW, _TANK, _SPRAYING = range(8)


class FaultWatch:
    """Follows one run, from its first reports, which show how far apart they come.

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
        self._interval = ReportInterval()
        known = None if coefficient is None else (math.log(coefficient), relative_u)
        self._begin = partial(_Following, rig, known)
        self._following: _Following | None = None
        self._earlier: list[Fault] = []  # called at another interval
        self._opened = 0

    def faults(self) -> list[Fault]:
        """Every fault of the run so far, in the order in which they were called."""
        return [*self._earlier, *(self._following.faults() if self._following else [])]

    def push(self, scene: Scene) -> None:
        """Continue with the frames of `scene`."""
        done = 0
        for place, timing in self._interval.push(scene.counts):
            if self._following is not None:
                self._following.push(scene.before(place).since(done))
                # A first word is not confirmed any more; what has been called is not over because reports come sooner.
                self._earlier += [one for one in self._following.faults() if not one.provisional]
                self._opened = self._following.opened
            self._following, done = self._begin(timing, self._opened), place
        if self._following is not None:
            self._following.push(scene.since(done) if done else scene)


class _Following:
    """The watch over a run whose interval between reports is known; `catch`: ln of the coefficient and its standard
    uncertainty."""

    def __init__(self, rig: Rig, catch: tuple[float, float] | None, timing: Timing, opened: int) -> None:
        self._rig, self._timing = rig, timing
        self._boom, self._rules = BoomCoefficient(timing), Rules(rig, timing)
        self._steps = StepWatch(timing)
        self._droop = Droop()
        self._all: list[OpenFault] = []
        self._by_rule: dict[str, OpenFault] = {}
        log_size = math.log(rig.nozzles.count * rig.nozzles.coefficient) if catch is None else catch[0]
        naming = Naming(rig.nozzles.count, self._droop, log_size)
        self._boom_faults = BoomFaults(naming, self._open, self._all.remove, catch, timing)
        self.opened = opened  # faults of the run so far
        self._on_before = Previous(False)
        self._board_us: Ints = np.empty(0, dtype=np.int64)  # of the frames of this chunk
        self._due: list[tuple[int, int, int, Callable[[], None]]] = []  # in it: place, order, number, what to do
        self._number = 10**9
        self._pending: list[tuple[float, Callable[[int], None]]] = []  # after it: when (µs), what to do
        self._tail = Tail(8, TUNING.watch_tail)
        self._shut, self._on = (Debounce(TUNING.give_s + TUNING.turn_level_s, 0.0) for _ in range(2))
        self._now_m2 = 0.0

    def faults(self) -> list[Fault]:
        """Every fault of the run so far, in the order in which they were called."""
        return [fault.fault(self._now_m2, self._rig.nozzles.count) for fault in self._all]

    def push(self, scene: Scene) -> None:
        """Continue with the frames of `scene`."""
        n = len(scene.host_s)
        if not n:
            return
        spraying, flowing = scene.spraying, scene.flowing
        on = spraying & flowing
        glitch = ((scene.frames["flags"] & Flag.FLOW_GLITCH) != 0) | scene.missed
        boom = self._boom.push(scene.counts, scene.per_m3, scene.pressure.mean_pa, spraying, flowing, glitch)
        turns, signs = self._rules.push(scene, boom)
        with np.errstate(divide="ignore", invalid="ignore"):
            log_p = np.log(np.maximum(scene.pressure.mean_pa, TUNING.floor_pa))
        low = (scene.frames["flags"] & Flag.SUPPLY_LOW) != 0
        board_us = scene.counts.board_us
        share = signs.pressure_share
        self._tail.push(board_us, scene.host_s, log_p, share, scene.area_m2, low, scene.tank_left_m3, 1.0 * on)
        places = np.flatnonzero(boom.usable)
        watched = self._steps.push(
            Usable(
                boom.pulses[places],
                boom.expected[places],
                boom.edge[places],
                log_p[places],
                np.log(boom.root_pa[places]),
                board_us[places] * 1e-6,
                boom.start[places],
                boom.doubtful[places],
            )
        )
        frames = UsableFrames(
            places,
            watched,
            boom.pulses[places],
            log_p[places],
            scene.host_s[places],
            scene.area_m2[places],
            boom.start[places],
            self._nearly_empty(scene.tank_left_m3[places]),
        )
        self._boom_faults.begin(frames)
        for place, action in self._ticks(scene, on, turns):
            self._boom_faults.follow(place, self._explained())
            action()
        self._boom_faults.follow(n - 1, self._explained())
        self._now_m2 = float(scene.area_m2[-1])

    def _ticks(self, scene: Scene, on: Bools, turns: list[Turn]) -> Iterator[tuple[int, Callable[[], None]]]:
        """What is to be done after which frame, in order; what is done may add to it."""
        board_us = scene.counts.board_us
        self._board_us = board_us
        self._due = [(turn.place, 0, n, partial(self._turned, turn)) for n, turn in enumerate(turns)]
        for place in np.flatnonzero(~on & self._on_before(on)).tolist():
            self._due.append((place, 1, len(self._due), self._boom_faults.interrupted))
        for debounce, condition in ((self._shut, ~on & ~scene.switch), (self._on, on)):
            settled, _, since = debounce.push(board_us, condition)
            for place in settled.tolist():
                self._due.append((place, 2, len(self._due), partial(self._spray_turned, place, int(since[place]))))
        heapq.heapify(self._due)
        pending, self._pending = self._pending, []
        for due_us, later in pending:
            self._later(due_us, later)
        while self._due:
            place, _, _, action = heapq.heappop(self._due)
            yield place, action

    def _later(self, due_us: float, action: Callable[[int], None]) -> None:
        """Do `action` in the first frame from `due_us` (µs on the board's clock) on, with that frame's place."""
        place = int(np.searchsorted(self._board_us, due_us))
        if place < len(self._board_us):
            self._number += 1
            what: Callable[[], None] = partial(action, place)
            heapq.heappush(self._due, (place, 3, self._number, what))
        else:
            self._pending.append((due_us, action))

    def _open(self, kind: str, began_s: float, called_s: float, began_m2: float) -> OpenFault:
        last = next((fault for fault in reversed(self._all) if fault.kind == kind and fault.ended_s is not None), None)
        if kind in FLICKERING and last is not None and began_s - (last.ended_s or 0.0) < TUNING.resumed_s:
            last.resume()
            return last
        if kind == "air":  # what the pressure has shown already was its first sign
            shown = (fault for name, fault in self._by_rule.items() if RULES[name].rank and fault.ended_s is None)
            for fault in shown:
                fault.take_over(Verdict(kind, sure=0.9), called_s)
                return fault
        self.opened += 1
        fault = OpenFault(self.opened, kind, began_s, called_s, began_m2)
        self._all.append(fault)
        return fault

    def _explained(self) -> bool:
        """Whether what the boom's coefficient does now has a better explanation."""
        return any(RULES[name].explains for name in self._by_rule)

    def _says_it_already(self, rule: Rule, rows: Floats) -> bool:
        """Whether what has been called says what the rule would; `rows` of the tail."""
        if rule.name in ("pressure_low", "pressure_down"):
            lately = rows[_LOG_P, -self._timing.frames((TUNING.down_mean_s, 2)) :]
            return self._boom_faults.explains(float(np.mean(lately)))
        return any(RULES[name].follows == rule.name for name in self._by_rule)

    def _turned(self, turn: Turn) -> None:
        rule = turn.rule
        rows = self._tail.upto(turn.place, TUNING.watch_tail)
        now_s, now_m2 = float(rows[_HOST, -1]), float(rows[_AREA, -1])
        if not turn.on:
            self._turned_off(rule, now_s, now_m2)
            return
        began_s = float(np.interp(turn.since_us, rows[_US], rows[_HOST]))
        began_m2 = float(np.interp(turn.since_us, rows[_US], rows[_AREA]))
        if rule.of_pulses:
            self._boom_faults.false_pulses(True, began_s, now_s, began_m2)
            return
        if self._says_it_already(rule, rows):
            return
        verdict = rule.verdict(self._evidence(rows, turn.since_us))
        handed = self._boom_faults.hand_over(began_s - 3.0) if rule.explains else None
        open_ones = [(RULES[name], fault) for name, fault in self._by_rule.items() if fault.ended_s is None]
        related = [(other.rank, fault) for other, fault in open_ones if other.rank and rule.rank]
        highest, same = max(related, key=lambda pair: pair[0], default=(0, None))
        same = same or self._by_rule.pop(rule.follows, None)
        fault = same or handed or self._open(verdict.kind, began_s, now_s, began_m2)
        if handed is not None and fault is not handed:
            self._all.remove(handed)
        if rule.rank >= highest:
            fault.take_over(verdict, now_s, quiet=rule.quiet, first_word=rule.confirm_s > 0)
        if fault.state is State.PROVISIONAL:
            due_us = turn.since_us + 1e6 * (rule.on_s + rule.confirm_s)
            self._later(max(due_us, rows[_US, -1]), partial(self._confirm, rule, fault))
        for after_s in rule.revised_s:
            self._later(turn.since_us + 1e6 * (rule.on_s + after_s), partial(self._revise, rule, fault, turn.since_us))
        if rule.at_once:
            fault.end(now_s, now_m2)
        else:
            self._by_rule[rule.name] = fault

    def _turned_off(self, rule: Rule, now_s: float, now_m2: float) -> None:
        fault = self._by_rule.pop(rule.name, None)
        if rule.of_pulses:
            self._boom_faults.false_pulses(False, now_s, now_s, now_m2)
        elif fault is not None and fault.ended_s is None and fault not in self._by_rule.values():
            if rule.withdrawn or fault.state is State.PROVISIONAL:
                self._all.remove(fault)
            else:
                fault.end(now_s, now_m2)

    def _confirm(self, rule: Rule, fault: OpenFault, place: int) -> None:
        """A first word has held."""
        if self._by_rule.get(rule.name) is fault and fault.state is State.PROVISIONAL:
            fault.confirm(float(self._tail.upto(place, 1)[_HOST, -1]))

    def _revise(self, rule: Rule, fault: OpenFault, since_us: int, place: int) -> None:
        """What has come to light since the rule came on may speak for another cause."""
        if self._by_rule.get(rule.name) is fault and fault.ended_s is None:
            fault.name(rule.verdict(self._evidence(self._tail.upto(place, TUNING.watch_tail), since_us)))

    def _evidence(self, rows: Floats, since_us: int) -> Evidence:
        pressures, shares = rows[[_LOG_P, _SHARE], -self._timing.frames((0.3, 1)) :]
        known = bool(np.isfinite(pressures).any())
        before, moved_sd = self._boom_faults.pressure_before
        return Evidence(
            moved=float(np.nanmean(pressures)) - before if known else math.nan,
            moved_sd=moved_sd,
            usual=float(np.nanmean(shares)) if np.isfinite(shares).any() else math.nan,
            supply_low=bool(rows[_LOW, rows[_US] >= since_us].any()),
            nearly_empty=bool(self._nearly_empty(rows[_TANK, -1:])[0]),
            droop=self._droop,
        )

    def _nearly_empty(self, left_m3: Floats) -> Bools:
        full_m3 = self._rig.tank.volume_m3
        return np.asarray((left_m3 < TUNING.nearly_empty * full_m3) & (left_m3 >= lowest_level(full_m3)))

    def _spray_turned(self, place: int, since_us: int) -> None:
        """The spray has come on or gone off and the pressure has settled: it tells how stiff the regulator is, what the
        pump lacks, or how much the boom takes."""
        rows = self._tail.upto(place, TUNING.watch_tail)
        end_us = since_us - 1e6 * (TUNING.rundown_s if self._rig.spray_switch else TUNING.stopped_s)
        # Over the first report boom and pressure were on their way.
        settled_us = since_us + 1e6 * max(TUNING.give_s, 1.5 * self._timing.interval_s)
        bounds = [end_us - TUNING.turn_level_s * 1e6, end_us, settled_us]
        begin, end, again = np.searchsorted(rows[_US], bounds, side="right").tolist()
        earlier, later = rows[:, begin:end], rows[:, again:]
        on, off = (later, earlier) if later[_SPRAYING, -1] else (earlier, later)
        if (
            len(earlier[0]) < self._timing.frames(TUNING.turn_level_least)
            or not on[_SPRAYING].all()
            or off[_SPRAYING].any()
        ):
            return
        log_p = float(on[_LOG_P].sum() / on.shape[1])
        rise = float(off[_LOG_P].sum() / off.shape[1]) - log_p
        if not math.isfinite(rise):
            return
        low = self._by_rule.get("pressure_low") or self._by_rule.get("pressure_down")
        if low is not None and low.kind in ("pressure_low", "pressure_down", "supply_short", "regulator"):
            comes_back = None if self._droop.behind_valve else self._droop.comes_back(rise, log_p)
            if comes_back is not None:
                low.name(Verdict("supply_short" if comes_back else "regulator", low.or_else, 0.85))
                low.judged(settled=True)
        elif low is None and not self._explained():
            apart_s = float(later[_HOST].sum() / later.shape[1] - earlier[_HOST].sum() / earlier.shape[1])
            self._boom_faults.turned(rise, apart_s, log_p)
