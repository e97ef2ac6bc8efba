"""Faults that show in the boom's coefficient, from the first step to the all-clear."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from host.pipeline.faults.aftermath import Aftermath
from host.pipeline.faults.boom_history import (
    AREA,
    HOST,
    LOG_C,
    ROUGH,
    BoomHistory,
    UsableFrames,
    before_step,
    goes_one_way,
    onset_of,
    spread,
    while_shut,
)
from host.pipeline.faults.catch_level import Opener, fault_against
from host.pipeline.faults.causes import Verdict
from host.pipeline.faults.causes.boom import unseen
from host.pipeline.faults.causes.pulses import FLICKERING, SOON_USUAL, Before, judge_roughness
from host.pipeline.faults.causes.sections import OPENED
from host.pipeline.faults.causes.supply import fallen
from host.pipeline.faults.droop import Moved, Turned
from host.pipeline.faults.early_word import EarlyWord
from host.pipeline.faults.ending import Ending, ending
from host.pipeline.faults.first_word import nozzles_worth
from host.pipeline.faults.naming import Naming
from host.pipeline.faults.open_fault import Change, OpenFault, State
from host.pipeline.faults.steps import Level, Step
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING


class BoomFaults:
    """At most one is open: clog, leak, worn or lost tip, meter reading low, air, false or missing pulses."""

    def __init__(
        self,
        naming: Naming,
        opener: Opener,
        withdrawn: Callable[[OpenFault], None],
        catch: tuple[float, float] | None,
        timing: Timing,
    ) -> None:
        self._timing, self._many, self._history = timing, timing.frames, BoomHistory(timing)
        self._naming, self._nozzles, self._catch = naming, naming.nozzles, catch
        self._opener, self._withdrawn = opener, withdrawn
        self._frames: UsableFrames
        self._next = 0
        self._signs, self._nearly_empty = list[int](), list[bool]()
        self._steps: dict[int, Step] = {}
        self._levels: dict[int, Level] = {}
        self._interest: list[int] = []  # frames with a step, the sign of one, or uneven pulses
        self._open: OpenFault | None = None
        self._word = EarlyWord(withdrawn, timing)
        self._false_pulses = self._rough_now = False
        self._first: float | None = None
        self._aftermath = Aftermath(naming.nozzles, self._history, timing)

    @property
    def pressure_before(self) -> tuple[float, float]:
        """Mean ln P before a rotor ran down, NaN before any; how far it strays by itself in the seconds of that."""
        i, history = self._next - 1, self._history
        return history.pressure(i), history.pressure_sd(i, TUNING.no_flow_apart_s)()

    def explains(self, log_p: float) -> bool:
        """Whether what is open lets the pressure, ln P, be as low as that."""
        return self._open is not None and self._open.lets_fall(log_p, self._nozzles)

    def begin(self, frames: UsableFrames) -> None:
        """Take the next usable frames in; `follow` then goes through them."""
        self._frames, self._next = frames, 0
        self._signs, self._nearly_empty = frames.watched.signs.tolist(), frames.nearly_empty.tolist()
        self._history.push(frames)
        self._steps = {step.at: step for step in frames.watched.steps}
        self._levels = {level.at: level for level in frames.watched.levels}
        told = np.flatnonzero((frames.watched.rough >= TUNING.rough) | (frames.watched.signs != 0))
        self._interest = sorted({*self._steps, *self._levels, *told.tolist()})

    def follow(self, place: int, explained: bool) -> None:
        """Go on with the usable frames up to frame `place`; `explained`: what they show has another cause."""
        frames = self._frames
        end = int(np.searchsorted(frames.places, place, side="right"))
        if explained and end:
            self._aftermath.explained(float(frames.host_s[end - 1]))
        while self._next < end:
            if self._first is not None and self._open is None and not self._rough_now and self._word.fault is None:
                ahead = np.searchsorted(self._interest, self._next)
                self._next = min(self._interest[ahead] if ahead < len(self._interest) else end, end)
                if self._next == end:
                    return
            self._frame(self._next, explained)
            self._next += 1

    def interrupted(self) -> None:
        """The flow has stopped: a change that was only just seen was the pass coming to its end."""
        self._history.interrupted(self._next - 1)
        fault = self._open
        if fault is None:
            if self._word.fault is not None:
                self._word.take_back(float(self._history.rows(self._next - 1, 1)[HOST, -1]))
            return
        if fault.state is State.PROVISIONAL:
            self._withdraw(fault)
            return
        rows = self._history.rows(self._next - 1, len(fault.change.levels))
        gone = int(np.sum(rows[HOST] > rows[HOST, -1] - TUNING.rundown_s)) if rows.size else 0
        fault.change.cut_short(0 if fault.kind in FLICKERING else gone)
        if self._naming.let_go(fault, passed=True):
            self._end(fault, *rows[[HOST, AREA], -1].tolist())

    def hand_over(self, since_s: float) -> OpenFault | None:
        """Something else is wrong: what was called since then was its first sign, and is handed over to it."""
        fault = self._open or self._word.fault
        if fault is None or (fault.called_s < since_s and fault.kind != "air"):
            return None
        self._word.release()
        self._open = None
        return fault

    def false_pulses(self, on: bool, began_s: float, now_s: float, began_m2: float) -> None:
        """The rule that looks at refused and impossible pulses has turned."""
        self._false_pulses = on
        fault = self._open
        if on:
            if fault is None:
                fault = self._open = self._opener("meter_noise", began_s, now_s, began_m2)
                fault.change.even = spread(self._history.usual_log_c(self._next - 1))
            if not fault.settled or fault.called_s > now_s - 15.0:
                fault.name(Verdict(self._history.pulse_kind(self._next - 1)))
                fault.confirm(now_s)
                fault.judged(settled=True)
        elif fault is not None and fault.kind in FLICKERING and fault.kind != SOON_USUAL and not self._rough_now:
            self._end(fault, now_s, began_m2)

    def turned(self, rise: float, apart_s: float, log_p: float) -> None:
        """ln P has risen by `rise` from spraying, at `log_p`, to shut, `apart_s` (s) apart, at an end of a pass."""
        sd = self._history.pressure_sd(self._next - 1, apart_s)
        fault = self._open
        if fault is None:
            self._naming.droop.learn(rise, sd, log_p)
        elif fault.change.move is not None and fault.kind not in FLICKERING:
            fault.change.turns.append(Turned(fault.after - fault.before, rise, sd()))
            self._naming.name(fault)

    def _frame(self, i: int, explained: bool) -> None:
        if self._open is None and not explained:
            self._compare(i)
        self._roughness(i, explained)
        step, fault = self._steps.get(i), self._open
        quiet = not self._rough_now and not self._false_pulses
        self._perhaps(i, step, fault is None and not explained and quiet)
        if fault is not None and fault.state is State.PROVISIONAL and i in self._levels:
            fault = self._wait(fault, i, last=True)  # a bubble beside it makes it look on its way back
        if step is not None and fault is None and not explained and quiet:
            if self._aftermath.is_new(i, step):
                log_c = self._history.baseline(i) if step.adaptive else step.reference
                self._start(i, step.frames, step.down, log_c).quiet = not step.adaptive
        elif i in self._levels and fault is None and not explained and quiet:
            self._stayed(i, self._levels[i], min(TUNING.least_nozzles, TUNING.stayed_least * self._nozzles))
        elif fault and quiet and not explained and self._history.fell_since(i, self._levels.get(i), fault.hides_s):
            self._stayed(i, self._levels[i], TUNING.own_fault_nozzles)
        elif fault is not None and fault.kind not in FLICKERING:
            self._track(fault, i, step)
        elif fault is not None and (fault.change.levels or fault.kind == SOON_USUAL) and quiet:
            self._track_noise(fault, i)
        if self._open is not None:
            self._open.weigh(TUNING.sound_other, self._nozzles, float(self._history.rows(i, 1)[HOST, 0]))

    def _perhaps(self, i: int, step: Step | None, free: bool) -> None:
        """Say a word, or take it back, for what is likely to be a step; `free`: nothing else is said about the boom."""
        sign, now_s = self._signs[i], float(self._history.rows(i, 1)[HOST, 0])
        if not free or (step is not None and not self._aftermath.is_new(i, step)):
            self._word.take_back(now_s)
        elif step is None:
            likely = Step(i, sign < 0, True, abs(sign))
            if self._word.follow(sign, now_s) and self._aftermath.is_new(i, likely):
                self._word.say(self._start(i, likely.frames, likely.down, self._history.baseline(i)))
                self._open = None

    def _roughness(self, i: int, explained: bool) -> None:
        rows = self._history.rows(i, self._many(TUNING.rough_seen))
        enough = rows.shape[1] == self._many(TUNING.rough_seen)
        share = float(np.mean(rows[ROUGH] >= TUNING.rough)) if enough else 0.0
        kind = self._history.rough_kind(i, rows) if not self._rough_now and share >= TUNING.rough_on else None
        fault = self._open
        if kind is not None:
            self._rough_now = True
            if explained:
                return
            if fault is None:
                fault = self._opener(kind, float(rows[HOST, 0]), float(rows[HOST, -1]), float(rows[AREA, 0]))
                fault.change.even = spread(self._history.usual_log_c(i))
                self._open = fault
            fault.confirm(float(rows[HOST, -1]))
            if fault.kind not in FLICKERING and fault.called_s > rows[HOST, -1] - 15.0:
                fault.name(Verdict(kind))
            fault.sure = 0.9
        elif self._rough_now and share <= TUNING.rough_off:
            self._rough_now = False
            if fault is not None and fault.kind in FLICKERING and fault.kind != SOON_USUAL and not self._false_pulses:
                self._end(fault, float(rows[HOST, -1]), float(rows[AREA, -1]))

    def _compare(self, i: int) -> None:
        """Hold the learned baseline against the catch test, once."""
        baseline = self._history.baseline(i)
        if self._first is not None or math.isnan(baseline):
            return
        self._first = baseline
        if self._catch is not None:
            rows = self._history.rows(i, self._many(TUNING.boom_before))
            self._open = fault_against(self._catch, baseline, rows, self._opener, self._nozzles)

    def _start(self, i: int, frames: int, down: bool, log_c: float) -> OpenFault:
        """Open one, or go on with its early word: a change from `log_c`, down or up, over the last `frames` frames."""
        rows = self._history.rows(i)
        onset = max(rows.shape[1] - frames, 1)
        began_s, now_s, began_m2 = float(rows[HOST, onset - 1]), float(rows[HOST, -1]), float(rows[AREA, onset - 1])
        fault = self._word.proven(down, now_s) or self._opener("clog" if down else "leak", began_s, now_s, began_m2)
        fault.began_s, fault.began_m2 = began_s, began_m2
        fault.before = log_c
        fault.after = float(np.mean(rows[LOG_C, -min(frames, self._many((0.3, 1))) :]))
        # A long time before it, for what is wrong may have begun before it was called.
        before = before_step(log_c, rows[:, :onset])
        fault.change = Change(now_s, before.spread, before, frames)
        fault.slight = True
        self._suppose(fault, i)
        self._open = fault
        return fault

    def _suppose(self, fault: OpenFault, i: int) -> None:
        """Until it is judged: a fall of c with the pressure is no nozzle that has clogged."""
        moved = self._history.pressure_since(i, fault.change.before) if fault.after < fault.before else 0.0
        fault.at_first = fallen(moved, self._nearly_empty[i])

    def _stayed(self, i: int, level: Level, least: float) -> None:
        """A change of `least` nozzles' worth or more without a first word, or whose word was taken back, has stayed."""
        worth = nozzles_worth(level.after - level.before, self._nozzles)
        if self._aftermath.is_none(i, level) or worth < least:
            return
        if self._open is not None:
            self._end(self._open, *self._history.rows(i, level.frames)[[HOST, AREA], 0].tolist())
        fault = self._start(i, level.frames, level.after < level.before, level.before)
        fault.after = level.after
        self._has_stayed(fault, i, 0)

    def _has_stayed(self, fault: OpenFault, i: int, proven: int) -> None:
        """What `_start` has opened needs no first word; `proven`: the frames of it that proved it."""
        rows, change = self._history.rows(i, fault.change.frames), fault.change
        change.levels, change.roughs = rows[[LOG_C, ROUGH]].tolist()
        change.frames = proven
        fault.confirm(float(rows[HOST, -1]))

    def _withdraw(self, fault: OpenFault) -> None:
        fault.withdraw()
        self._withdrawn(fault)
        self._aftermath.ended(fault.before)
        self._open = None

    def _wait(self, fault: OpenFault, i: int, *, last: bool = False) -> OpenFault | None:
        """A first word is confirmed or taken back; `last`: now. What is open then."""
        rows = self._history.rows(i, self._many(TUNING.confirm_seen))
        by, at_s = fault.after - fault.before, (fault.began_s, fault.change.found_s)
        stays = self._history.stays(rows, fault.before, by, fault.change.even, at_s, self._nozzles)
        if stays:
            # The frames that it was found by were chosen for being far off, and the rotor was still on its way.
            fault.after = float(np.mean(rows[LOG_C, -self._many((0.3, 1)) :]))
            self._suppose(fault, i)
            fault.confirm(float(rows[HOST, -1]))
        elif stays is not None or last:
            self._withdraw(fault)
        return self._open

    def _track(self, fault: OpenFault, i: int, step: Step | None) -> None:
        row, change = self._history.rows(i, 1)[:, 0], fault.change
        change.levels.append(float(row[LOG_C]))
        change.roughs.append(float(row[ROUGH]))
        if fault.state is State.PROVISIONAL:
            self._wait(fault, i)
            return
        count = len(change.levels)
        if count >= (self._many(TUNING.judge), self._many(TUNING.settle), math.inf)[min(change.judgements, 2)]:
            self._judge(fault, i, count)
            if self._naming.let_go(fault, passed=False):
                self._end(fault, *row[[HOST, AREA]].tolist())
                return
        if step is not None and count > self._many(TUNING.judge):
            on_top = (step.frames, self._history.baseline(i), float(row[HOST]))
            if step.down != (fault.after < fault.before):
                change.levels, change.roughs, change.back = [], [], on_top
            else:
                change.second = on_top
        elif change.second is not None and row[HOST] - change.second[2] >= TUNING.second_s:
            self._second(fault, i)
        elif change.second is None and count >= self._many(TUNING.judge) and fault.kind not in FLICKERING:
            self._all_clear(fault, i, count)

    def _all_clear(self, fault: OpenFault, i: int, count: int) -> None:
        """Whether little is left of it, or it has gone over to the other side of the healthy level: another fault."""
        change, rows = fault.change, self._history.rows(i, self._many(TUNING.mended))
        last, few = np.array(change.levels[-rows.shape[1] :]), self._many((0.3, 1))
        off, beneath = last - fault.before, change.beneath
        found = ending(fault.after - fault.before, off, few, self._nozzles)
        if beneath is not None and found in (Ending.OVER, Ending.GONE):
            if ending(beneath.after - beneath.before, last - beneath.before, few, self._nozzles) is not Ending.MOVES:
                self._end(fault, float(rows[HOST, -1]), float(rows[AREA, -1]))
                self._open = beneath.uncovered(change)
                self._all_clear(beneath, i, count)
        elif found is Ending.OVER:
            by, at_s = fault.before - fault.after, float(rows[HOST, 0])
            if self._history.stays(rows, fault.before, by, change.even, (at_s, at_s), self._nozzles) is not None:
                self._goes_on(fault, i, change.back or (0, fault.after, at_s), on_top=False)
        elif found is Ending.GONE:
            self._end(fault, float(rows[HOST, -1]), float(rows[AREA, -1]))
        elif found is Ending.STAYS and count % self._many(TUNING.remeasure) == 0:
            fault.after = fault.before + float(off.mean())

    def _second(self, fault: OpenFault, i: int) -> None:
        """A step the same way on top of an open fault has stayed: its growth, or a fault of its own."""
        rows, change = self._history.rows(i), fault.change
        assert change.second
        took, log_c, found_s = change.second
        frames, whole = took + int(np.sum(rows[HOST] > found_s)), fault.after - fault.before
        at_s = float(rows[HOST, -min(frames, rows.shape[1])]), found_s
        stays = self._history.stays(rows, log_c, whole, change.even, at_s, self._nozzles)
        waits = stays is None and goes_one_way(rows[LOG_C, -self._many((0.3, 3)) :])
        if waits and rows[HOST, -1] - found_s < TUNING.second_most_s:
            return
        change.second = None
        level = float(np.mean(rows[LOG_C, -self._many((0.3, 1)) :]))
        by, rested = level - log_c, len(change.levels) - frames >= self._many(TUNING.remeasure)
        if by * whole <= 0 or abs(by) < TUNING.gone or abs(log_c - fault.before) < 0.5 * abs(whole):
            return  # the last: the flow had stopped before the new level was taken, and it is the same step again
        if rested and took <= self._many(TUNING.sudden) and abs(by) * self._nozzles > TUNING.own_fault_nozzles:
            self._goes_on(fault, i, (took, log_c, found_s), on_top=True)
        else:
            before = Before(log_c, change.before.log_p_step, change.before.spread)
            fault.grow(before, took, level)
            change.levels, change.roughs = rows[LOG_C, took - frames :].tolist(), rows[ROUGH, took - frames :].tolist()

    def _goes_on(self, fault: OpenFault, i: int, step: tuple[int, float, float], *, on_top: bool) -> None:
        """`step` is a fault of its own: `on_top` of an open one, which is hidden until it is over, or in its place."""
        rows, (took, log_c, found_s) = self._history.rows(i), step
        self._end(fault, float(rows[HOST, -1]), float(rows[AREA, -1]))
        frames = took + int(np.sum(rows[HOST] > found_s))
        second = self._start(i, frames, float(np.mean(rows[LOG_C, -self._many((0.3, 1)) :])) < log_c, log_c)
        second.change.beneath, second.before = (fault, log_c) if on_top else (None, fault.before)
        self._has_stayed(second, i, took)

    def _track_noise(self, fault: OpenFault, i: int) -> None:
        """Over once the frames are as even again as they were before."""
        row, change = self._history.rows(i, 1)[:, 0], fault.change
        change.levels = [*change.levels[-self._many(TUNING.rough_seen) :], float(row[LOG_C])]
        fault.after = float(np.mean(change.levels[-self._many(TUNING.mended) :]))
        last = np.array(change.levels[-self._many(TUNING.even) :])
        if len(change.levels) > self._many(TUNING.even) and spread(last) < TUNING.even_ratio * change.even:
            if nozzles_worth(fault.after - fault.before, self._nozzles) > TUNING.own_fault_nozzles:
                # That was uneven on its way, and has stayed.
                fault.name(unseen(fault.after - fault.before, self._nozzles))
                change.roughs = [1.0] * len(change.levels)
            else:
                self._end(fault, float(row[HOST]), float(row[AREA]))

    def _judge(self, fault: OpenFault, i: int, count: int) -> None:
        change, past = fault.change, self._history.rows(i)
        level = float(np.mean(np.array(change.levels[self._many(TUNING.lagging) :])))
        counted, fitted, sudden = onset_of(past, count, change.frames, change.before.log_c, level, self._timing)
        onset = fitted if sudden else counted
        if not change.moves:  # what has grown began as it began
            change.sudden, change.while_shut = sudden, while_shut(past, onset, self._timing)
        fault.quiet &= not change.sudden
        after = self._history.after(i, change.levels, change.roughs, onset, change.sudden)
        fault.after = after.log_c
        fault.judged(settled=change.judgements > 0)
        fault.weigh(TUNING.sound_judged, self._nozzles, float(past[HOST, -1]))
        if abs(fault.after - fault.before) < TUNING.gone:  # gone again before it could be judged
            return
        self._suppose(fault, i)
        other = fault.at_first or judge_roughness(change.before, after)
        if other is not None and not change.moves:
            fault.name(other)
            return
        if change.sudden and not change.moves:
            fault.began_s, fault.began_m2 = float(past[HOST, onset]), float(past[AREA, onset])
        before, now = (log_c - fault.before for log_c in (change.before.log_c, after.log_c))
        change.move = Moved(before, now, after.moved, after.moved_sd)
        self._naming.name(fault)

    def _end(self, fault: OpenFault, at_s: float, area_m2: float) -> None:
        fault.end(at_s, area_m2)
        self._aftermath.ended(fault.after if fault.kind == OPENED else fault.before)
        self._open = None
