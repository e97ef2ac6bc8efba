"""Faults that show in the boom's coefficient, from the first step to the all-clear."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from host.pipeline.columns import Floats
from host.pipeline.faults.boom_history import (
    AREA,
    HOST,
    LOG_C,
    ROUGH,
    BoomHistory,
    UsableFrames,
    before_step,
    onset_of,
    spread,
    while_shut,
)
from host.pipeline.faults.causes import Verdict
from host.pipeline.faults.causes.boom import judge, off_catch, slowly, unseen
from host.pipeline.faults.causes.pulses import FLICKERING, SOON_USUAL, Before, judge_roughness
from host.pipeline.faults.causes.supply import fallen
from host.pipeline.faults.droop import Droop, Moved, Turned
from host.pipeline.faults.ending import Ending, ending, leads_back
from host.pipeline.faults.first_word import nozzles_worth, still_there
from host.pipeline.faults.open_fault import Change, OpenFault, State
from host.pipeline.faults.steps import Level, Step
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING

Opener = Callable[[str, float, float, float], OpenFault]


class BoomFaults:
    """At most one is open: clog, leak, worn or lost tip, meter reading low, air, false or missing pulses."""

    def __init__(
        self,
        nozzles: int,
        droop: Droop,
        opener: Opener,
        withdrawn: Callable[[OpenFault], None],
        catch: tuple[float, float] | None,
        timing: Timing,
    ) -> None:
        self._timing, self._many, self._history = timing, timing.frames, BoomHistory(timing)
        self._nozzles, self._droop, self._catch = nozzles, droop, catch
        self._opener, self._withdrawn = opener, withdrawn
        self._frames: UsableFrames | None = None
        self._next = 0
        self._steps: dict[int, Step] = {}
        self._levels: dict[int, Level] = {}
        self._interest: list[int] = []  # frames with a step or with uneven pulses
        self._open: OpenFault | None = None
        self._false_pulses = self._rough_now = False
        self._first: float | None = None
        self._healthy = math.nan  # log c before the last fault that has ended
        self._explained_s = -math.inf  # until then what was seen had another cause

    @property
    def pressure_before(self) -> float:
        """Mean ln P of the last usable frames before a rotor ran down; NaN before any."""
        return self._history.pressure(self._next - 1)

    @property
    def pressure_sd(self) -> float:
        """How far ln P strays by itself in the seconds in which a rotor runs down."""
        return self._history.pressure_sd(self._next - 1, TUNING.no_flow_apart_s)()

    def explains(self, log_p: float) -> bool:
        """Whether what is open lets the pressure, ln P, be as low as that."""
        return self._open is not None and self._open.lets_fall(log_p, self._nozzles)

    def begin(self, frames: UsableFrames) -> None:
        """Take the next usable frames in; `follow` then goes through them."""
        self._frames, self._next = frames, 0
        self._history.push(frames)
        self._steps = {step.at: step for step in frames.watched.steps}
        self._levels = {level.at: level for level in frames.watched.levels}
        rough = np.flatnonzero(frames.watched.rough >= TUNING.rough).tolist()
        self._interest = sorted({*self._steps, *self._levels, *rough})

    def follow(self, place: int, explained: bool) -> None:
        """Go on with the usable frames up to frame `place`; `explained`: what they show has another cause."""
        frames = self._frames
        assert frames is not None
        end = int(np.searchsorted(frames.places, place, side="right"))
        if explained and end:
            self._explained_s = float(frames.host_s[end - 1])
        while self._next < end:
            if self._open is None and not self._rough_now:
                ahead = np.searchsorted(self._interest, self._next)
                to = self._interest[ahead] if ahead < len(self._interest) else end
                if self._first is None:
                    to = self._next
                if to >= end:
                    self._next = end
                    return
                self._next = to
            self._frame(self._next, explained)
            self._next += 1

    def interrupted(self) -> None:
        """The flow has stopped: a change that was only just seen was the pass coming to its end."""
        self._history.interrupted(self._next - 1)
        fault = self._open
        if fault is None:
            return
        if fault.state is State.PROVISIONAL:
            self._withdraw(fault)
            return
        change = fault.change
        change.second = None
        rows = self._history.rows(self._next - 1, len(change.levels))
        gone = int(np.sum(rows[HOST] > rows[HOST, -1] - TUNING.rundown_s)) if rows.size else 0
        if gone and fault.kind not in FLICKERING:
            change.levels, change.roughs = change.levels[:-gone], change.roughs[:-gone]

    def hand_over(self, since_s: float) -> OpenFault | None:
        """Something else is wrong: what was called since then was its first sign, and is handed over to it."""
        fault = self._open
        if fault is None or (fault.called_s < since_s and fault.kind != "air"):
            return None
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
        """ln P has risen by `rise` from spraying, when it was `log_p`, to shut, at either end of a pass; `apart_s` (s)
        between the two."""
        sd = self._history.pressure_sd(self._next - 1, apart_s)
        fault = self._open
        if fault is None:
            self._droop.learn(rise, sd, log_p)
        elif fault.change.move is not None and fault.kind not in FLICKERING:
            fault.change.turns.append(Turned(fault.after - fault.before, rise, sd()))
            self._name(fault)

    def _frame(self, i: int, explained: bool) -> None:
        if self._open is None and not explained:
            self._compare(i)
        self._roughness(i, explained)
        step, fault = self._steps.get(i), self._open
        quiet = not self._rough_now and not self._false_pulses
        if step is not None and fault is None and not explained and quiet:
            before, after = self._history.baseline(i), self._history.level(i, step)
            # What took long to show, and began while something else was wrong, is what that has left behind.
            late = step.frames > self._many(TUNING.boom_before)
            late &= self._history.began_s(i, step.frames) < self._explained_s
            if not late and not leads_back(before, after, self._healthy, self._nozzles):
                log_c = before if step.adaptive else step.reference
                self._start(i, step.frames, step.down, log_c).quiet = not step.adaptive
        elif i in self._levels and fault is None and not explained and quiet:
            self._stayed(i, self._levels[i])
        elif fault is not None and fault.kind not in FLICKERING:
            self._track(fault, i, step)
        elif fault is not None and (fault.change.levels or fault.kind == SOON_USUAL) and quiet:
            self._track_noise(fault, i)

    def _roughness(self, i: int, explained: bool) -> None:
        rows = self._history.rows(i, self._many(TUNING.rough_seen))
        enough = rows.shape[1] == self._many(TUNING.rough_seen)
        share = float(np.mean(rows[ROUGH] >= TUNING.rough)) if enough else 0.0
        fault = self._open
        if not self._rough_now and share >= TUNING.rough_on:
            self._rough_now = True
            if explained:
                return
            kind = self._history.rough_kind(i, rows)
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
        self._first, (caught, caught_u) = baseline, self._catch or (math.nan, 0.0)
        verdict = off_catch(baseline - caught, caught_u)
        if verdict is not None:
            rows = self._history.rows(i, self._many(TUNING.boom_before))
            now_s = float(rows[HOST, -1])
            fault = self._opener(verdict.kind, now_s, now_s, 0.0)
            fault.before, fault.before_u, fault.after, fault.against_catch = caught, caught_u, baseline, True
            fault.change.before = before_step(caught, rows)
            fault.change.even = fault.change.before.spread
            fault.name(verdict)
            fault.confirm(now_s)
            fault.judged(settled=True)
            self._open = fault

    def _start(self, i: int, frames: int, down: bool, log_c: float) -> OpenFault:
        """Open one: a change from `log_c`, down or up, that took the last `frames` frames."""
        rows = self._history.rows(i)
        onset = max(rows.shape[1] - frames, 1)
        fault = self._opener(
            "clog" if down else "leak",
            float(rows[HOST, onset - 1]),
            float(rows[HOST, -1]),
            float(rows[AREA, onset - 1]),
        )
        fault.before = log_c
        fault.after = float(np.mean(rows[LOG_C, -min(frames, self._many((0.3, 1))) :]))
        # A long time before it, for what is wrong may have begun before it was called.
        before = before_step(log_c, rows[:, :onset])
        fault.change = Change(before.spread, before, frames)
        self._suppose(fault, i)
        self._open = fault
        return fault

    def _suppose(self, fault: OpenFault, i: int) -> None:
        """Until it is judged: a fall of c with the pressure is no nozzle that has clogged."""
        assert self._frames is not None
        moved = self._history.pressure_since(i, fault.change.before) if fault.after < fault.before else 0.0
        fault.at_first = fallen(moved, bool(self._frames.nearly_empty[i]))

    def _stayed(self, i: int, level: Level) -> None:
        """A change whose first word was taken back has stayed after all."""
        worth = nozzles_worth(level.after - level.before, self._nozzles)
        least = min(TUNING.least_nozzles, TUNING.stayed_least * self._nozzles)
        if leads_back(level.before, level.after, self._healthy, self._nozzles) or worth < least:
            return
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
        self._open = None

    def _stays(self, even: float, rows: Floats, level: float, down: bool, at_s: tuple[float, float]) -> bool | None:
        """Whether c has stayed off `level`, which it left at the first of `at_s`; None: perhaps a dip, or the rotor."""
        word = self._history.against(rows[:, rows[HOST] > at_s[0]], level, down, even)
        return still_there(word, *at_s, self._nozzles)

    def _wait(self, fault: OpenFault, i: int) -> None:
        """A first word is confirmed or taken back."""
        rows = self._history.rows(i, self._many(TUNING.confirm_seen))
        down = fault.after < fault.before
        stays = self._stays(fault.change.even, rows, fault.before, down, (fault.began_s, fault.called_s))
        if stays:
            self._suppose(fault, i)
            fault.confirm(float(rows[HOST, -1]))
        elif stays is not None:
            self._withdraw(fault)

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
        last = np.array(change.levels[-rows.shape[1] :]) - fault.before
        found = ending(fault.after - fault.before, last, self._many((0.3, 1)), self._nozzles)
        at_s, down = float(rows[HOST, 0]), fault.after > fault.before
        if found is Ending.OVER:
            if self._stays(change.even, rows, fault.before, down, (at_s, at_s)) is not None:
                self._goes_on(fault, i, change.back or (0, fault.after, at_s), fault.before)
        elif found is Ending.GONE:
            self._end(fault, float(rows[HOST, -1]), float(rows[AREA, -1]))
        elif found is Ending.STAYS and count % self._many(TUNING.remeasure) == 0:
            fault.after = fault.before + float(last.mean())

    def _second(self, fault: OpenFault, i: int) -> None:
        """A step the same way on top of an open fault has stayed: its growth, or a fault of its own."""
        rows, change = self._history.rows(i), fault.change
        assert change.second is not None
        took, log_c, found_s = change.second
        frames = took + int(np.sum(rows[HOST] > found_s))
        down, began_s = fault.after < fault.before, self._history.began_s(i, frames)
        stays = self._stays(change.even, rows, log_c, down, (began_s, found_s))
        if stays is None and rows[HOST, -1] - found_s < TUNING.second_most_s:
            return
        change.second = None
        level = float(np.mean(rows[LOG_C, -self._many((0.3, 1)) :]))
        size, whole = abs(level - log_c), fault.after - fault.before
        if (level - log_c) * whole <= 0 or size < TUNING.gone or abs(log_c - fault.before) < 0.5 * abs(whole):
            return  # the last: the flow had stopped before the new level was taken, and it is the same step again
        rested = len(change.levels) - frames >= self._many(TUNING.remeasure)
        if rested and took <= self._many(TUNING.sudden) and size * self._nozzles > TUNING.own_fault_nozzles:
            self._goes_on(fault, i, (took, log_c, found_s), log_c)
        else:
            before = Before(log_c, change.before.log_p_step, change.before.spread)
            fault.grow(before, took, level)
            change.levels, change.roughs = rows[LOG_C, took - frames :].tolist(), rows[ROUGH, took - frames :].tolist()

    def _goes_on(self, fault: OpenFault, i: int, step: tuple[int, float, float], healthy: float) -> None:
        """What has come on top of an open fault, by `step`, is a fault of its own, off the level `healthy` (log c)."""
        rows = self._history.rows(i)
        took, log_c, found_s = step
        self._end(fault, float(rows[HOST, -1]), float(rows[AREA, -1]))
        frames = took + int(np.sum(rows[HOST] > found_s))
        second = self._start(i, frames, float(np.mean(rows[LOG_C, -self._many((0.3, 1)) :])) < log_c, log_c)
        second.before = healthy
        self._has_stayed(second, i, took)

    def _track_noise(self, fault: OpenFault, i: int) -> None:
        """Over once the frames are as even again as they were before."""
        row, change = self._history.rows(i, 1)[:, 0], fault.change
        change.levels = [*change.levels[-self._many(TUNING.rough_seen) :], float(row[LOG_C])]
        fault.after = float(np.mean(change.levels[-self._many(TUNING.mended) :]))
        last = np.array(change.levels[-self._many(TUNING.even) :])
        if len(change.levels) > self._many(TUNING.even) and spread(last) < TUNING.even_ratio * change.even:
            if nozzles_worth(fault.after - fault.before, self._nozzles) > TUNING.own_fault_nozzles:
                fault.name(unseen(fault.after - fault.before))  # that was uneven on its way, and has stayed
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
        self._name(fault)

    def _name(self, fault: OpenFault) -> None:
        """Name it from all that the pressure has said since it began."""
        change = fault.change
        likelihoods = self._droop.likelihoods(change.all_moves, change.turns)
        called = fault.kind if fault.settled else ""
        size, shut = fault.after - fault.before, change.while_shut and not change.moves
        verdict = judge(likelihoods, size, change.sudden, self._nozzles, called, while_shut=shut)
        fault.name(slowly(verdict) if fault.quiet else verdict)

    def _end(self, fault: OpenFault, at_s: float, area_m2: float) -> None:
        fault.end(at_s, area_m2)
        self._healthy = fault.before if math.isfinite(fault.before) else self._healthy
        self._open = None
