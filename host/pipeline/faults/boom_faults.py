"""Faults that show in the boom's coefficient, from the first step to the all-clear."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from host.pipeline.columns import Floats, Ints
from host.pipeline.faults.changes import After, Before, judge, rough
from host.pipeline.faults.droop import Droop, Moved, Turned
from host.pipeline.faults.open_fault import Opened
from host.pipeline.faults.pressure_step import last_before, pressure_step, usual_sd
from host.pipeline.faults.ring_buffer import Tail
from host.pipeline.faults.steps import Step, Watched
from host.pipeline.faults.tuning import TUNING

Opener = Callable[[str, float, float, float], Opened]

_LOG_C, _LOG_P, _HOST, _AREA, _ROUGH, _MOVED = range(6)
FLICKERING = ("air", "meter_noise", "meter_missing")
_UNEVEN = "meter_missing"  # soon taken for the run's own noise: over only when c is as even again as before it


@dataclass(frozen=True)
class Stretch:
    """The usable frames of a chunk: their places in it and what belongs to each, shape (n,)."""

    places: Ints
    watched: Watched
    log_p: Floats
    host_s: Floats
    area_m2: Floats


class BoomFaults:
    """At most one is open: clog, leak, worn or lost tip, meter reading low, air, false or missing pulses."""

    def __init__(self, nozzles: int, droop: Droop, opener: Opener, known: tuple[float, float] | None) -> None:
        self._nozzles, self._droop, self._opener, self._known = nozzles, droop, opener, known
        self._tail = Tail(6, TUNING.boom_tail)
        self._stretch: Stretch | None = None
        self._next = 0
        self._steps: dict[int, Step] = {}
        self._current: Opened | None = None
        self._last_log_p = math.nan
        self._false_pulses = self._rough_now = False
        self._first: float | None = None
        self._sudden = False
        self._even = math.inf  # spread of log c before the open fault
        self._moves: list[Moved] = []  # of the pressure, at each step of the open fault but the last
        self._move: Moved | None = None  # at the last one
        self._turns: list[Turned] = []  # ends of passes since it began
        self._healthy = math.nan  # log c before the last fault that has ended
        self._explained_s = -math.inf  # until then what was seen had another cause

    @property
    def pressure_before(self) -> float:
        """Mean ln P of the last usable frames; NaN before any."""
        rows = self._tail.upto(self._next - 1, TUNING.boom_before)
        return float(np.mean(rows[_LOG_P])) if rows.shape[1] >= 10 else math.nan

    def begin(self, stretch: Stretch) -> None:
        """Take the next usable frames in; `follow` then goes through them."""
        self._stretch, self._next = stretch, 0
        self._steps = {step.at: step for step in stretch.watched.steps}
        # The run's first frame has moved from nowhere: it counts as one that did not move.
        last = stretch.log_p[:1] if math.isnan(self._last_log_p) else self._last_log_p
        moved = np.abs(np.diff(stretch.log_p, prepend=last))
        if len(stretch.log_p):
            self._last_log_p = float(stretch.log_p[-1])
        watched = stretch.watched
        self._tail.push(watched.log_c, stretch.log_p, stretch.host_s, stretch.area_m2, watched.rough, moved)
        high = np.flatnonzero(watched.rough >= TUNING.rough)
        self._interest = sorted({*self._steps, *high.tolist()})

    def follow(self, place: int, explained: bool) -> None:
        """Go on with the usable frames up to frame `place`; `explained`: what they show has another cause."""
        stretch = self._stretch
        assert stretch is not None
        end = int(np.searchsorted(stretch.places, place, side="right"))
        if explained and end:
            self._explained_s = float(stretch.host_s[end - 1])
        while self._next < end:
            if self._current is None and not self._rough_now:
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

    @property
    def takes_more(self) -> bool:
        """Whether so much is let out that it explains a low pressure."""
        one = self._current
        return one is not None and math.expm1(one.after - one.before) * self._nozzles > TUNING.lost_tip_nozzles

    def taken_over(self, since_s: float) -> Opened | None:
        """Something else is wrong: what was called since then was its first sign, and is handed over to it."""
        one = self._current
        if one is None or one.called_s < since_s:
            return None
        self._current = None
        return one

    def false_pulses(self, on: bool, began_s: float, now_s: float, began_m2: float) -> None:
        """The rule that looks at refused and impossible pulses has turned."""
        self._false_pulses = on
        one = self._current
        if on:
            if one is None:
                one = self._current = self._opener("meter_noise", began_s, now_s, began_m2)
                self._even = _spread(
                    self._tail.upto(self._next - 1, TUNING.boom_tail)[_LOG_C, : -2 * TUNING.rough_frames]
                )
            if not one.final or one.called_s > now_s - 15.0:
                one.kind, one.or_else, one.sure = self._pulse_kind(), (), 0.95
                one.final = True
        elif one is not None and one.kind in FLICKERING and one.kind != _UNEVEN and not self._rough_now:
            self._close(one, now_s, began_m2)

    def _pulse_kind(self) -> str:
        """Whether pulses are added or missing."""
        rows = self._tail.upto(self._next - 1, TUNING.boom_tail)
        usual = rows[_LOG_C, : -2 * TUNING.rough_frames]
        less = len(usual) >= 50 and np.mean(rows[_LOG_C, -20:]) < np.median(usual) - 0.01
        return "meter_missing" if less else "meter_noise"

    def _frame(self, i: int, explained: bool) -> None:
        rows = self._tail.upto(i, TUNING.rough_frames)
        if self._current is None and not explained:
            self._compare(i)
        self._roughness(i, rows, explained)
        step = self._steps.get(i)
        one = self._current
        if step is not None and one is None and not explained and not self._rough_now and not self._false_pulses:
            if not self._returns(i, step) and not self._explained_then(i, step):
                self._start(i, step)
        elif one is not None and one.kind not in FLICKERING:
            self._track(one, i, step)
        elif one is not None and (one.levels or one.kind == _UNEVEN) and not self._rough_now and not self._false_pulses:
            self._track_noise(one, i)

    def _roughness(self, i: int, rows: Floats, explained: bool) -> None:
        share = float(np.mean(rows[_ROUGH] >= TUNING.rough)) if rows.shape[1] == TUNING.rough_frames else 0.0
        one = self._current
        if not self._rough_now and share >= TUNING.rough_on:
            self._rough_now = True
            if explained:
                return
            kind = self._rough_kind(i, rows)
            if one is None:
                one = self._current = self._opener(
                    kind, float(rows[_HOST, 0]), float(rows[_HOST, -1]), float(rows[_AREA, 0])
                )
                self._even = _spread(self._tail.upto(i, TUNING.boom_tail)[_LOG_C, : -2 * TUNING.rough_frames])
            if one.kind not in FLICKERING and one.called_s > rows[_HOST, -1] - 15.0:
                one.kind, one.or_else = kind, ()
            one.sure = 0.9
        elif self._rough_now and share <= TUNING.rough_off:
            self._rough_now = False
            if one is not None and one.kind in FLICKERING and one.kind != _UNEVEN and not self._false_pulses:
                self._close(one, float(rows[_HOST, -1]), float(rows[_AREA, -1]))

    def _rough_kind(self, i: int, rows: Floats) -> str:
        past = self._tail.upto(i, TUNING.boom_tail)[:, : -2 * TUNING.rough_frames]
        if past.shape[1] < 100:
            return "air"
        if np.median(rows[_MOVED]) >= TUNING.rough_pressure * np.median(past[_MOVED]):
            return "air"
        return "meter_noise" if np.mean(rows[_LOG_C]) > np.median(past[_LOG_C]) else "meter_missing"

    def _compare(self, i: int) -> None:
        """Hold the learned baseline against the catch test, once."""
        baseline = self._baseline(i)
        if self._first is not None or math.isnan(baseline):
            return
        self._first = baseline
        if self._known is None:
            return
        step = self._first - self._known[0]
        if abs(step) > max(TUNING.catch_floor, TUNING.catch_sigmas * self._known[1]):
            rows = self._tail.upto(i, 1)
            kind = "clog" if step < 0 else "wear"
            one = self._opener(kind, float(rows[_HOST, 0]), float(rows[_HOST, 0]), 0.0)
            one.or_else = ("meter_low", "transducer_drift") if step < 0 else ("leak", "transducer_drift")
            one.before, one.before_u, one.after, one.sure, one.final = (
                self._known[0],
                self._known[1],
                self._first,
                0.6,
                True,
            )
            one.against_catch = True
            recent = self._tail.upto(i, TUNING.boom_before)
            self._before = Before(one.before, float(np.median(recent[_MOVED])), _spread(recent[_LOG_C]))
            self._current = one

    def _baseline(self, i: int) -> float:
        """Log c that usable frame `i` was held against."""
        assert self._stretch is not None
        return float(self._stretch.watched.baseline[i])

    def _level(self, i: int, step: Step) -> float:
        """Log c as `step`, found in usable frame `i`, has left it so far."""
        return float(np.mean(self._tail.upto(i, min(step.frames, 3))[_LOG_C]))

    def _returns(self, i: int, step: Step) -> bool:
        """Whether a step only leads back to the level before the last fault, which was over while it was judged."""
        before, after = self._baseline(i) - self._healthy, self._level(i, step) - self._healthy
        return abs(after) < 0.5 * abs(before)  # never before a first fault: its NaN compares as false

    def _explained_then(self, i: int, step: Step) -> bool:
        """Whether a step that took long to show began while something else was wrong, and is what that left behind."""
        began_s = float(self._tail.upto(i, step.frames)[_HOST, 0])
        return step.frames > TUNING.boom_before and began_s < self._explained_s

    def _start(self, i: int, step: Step) -> None:
        rows = self._tail.upto(i, TUNING.boom_tail)
        onset = max(rows.shape[1] - step.frames, 1)
        one = self._opener(
            "clog" if step.down else "leak",
            float(rows[_HOST, onset - 1]),
            float(rows[_HOST, -1]),
            float(rows[_AREA, onset - 1]),
        )
        assert self._first is not None
        one.before = self._baseline(i) if step.adaptive else self._first
        one.after = self._level(i, step)
        one.sure = 0.5
        # A long time before it, for what is wrong may have begun before it was called.
        self._before = Before(one.before, float(np.median(rows[_MOVED, :onset])), _spread(rows[_LOG_C, :onset]))
        self._frames = step.frames
        self._even = self._before.spread
        self._moves, self._move, self._turns = [], None, []
        self._current = one

    def _at_once(self, i: int, step: Step) -> bool:
        """Whether a step came at once and is large enough to be a fault of its own."""
        size = abs(self._level(i, step) - self._baseline(i))
        return step.frames <= TUNING.sudden_frames and size * self._nozzles > TUNING.own_fault_nozzles

    def _grow(self, one: Opened, i: int, step: Step) -> None:
        """More of the same, slowly: one fault that grows. What the pressure does at each step adds to what is known."""
        self._before = replace(self._before, log_c=self._baseline(i))
        self._frames = step.frames
        if self._move is not None:
            self._moves.append(self._move)
            self._move = None
        one.levels, one.roughs, one.final = [], [], False
        one.after = self._level(i, step)

    def _track(self, one: Opened, i: int, step: Step | None) -> None:
        row = self._tail.upto(i, 1)[:, 0]
        one.levels.append(float(row[_LOG_C]))
        one.roughs.append(float(row[_ROUGH]))
        count = len(one.levels)
        if not one.final and count in (TUNING.judge_frames, TUNING.settle_frames):
            self._judge(one, i, count)
        if step is not None and count > TUNING.judge_frames:
            if step.down != (one.after < one.before):
                one.levels, one.roughs = [], []
            elif not self._at_once(i, step):
                self._grow(one, i, step)
            else:  # a second one: a fault of its own
                self._close(one, float(row[_HOST]), float(row[_AREA]))
                self._start(i, step)
            return
        if count >= TUNING.judge_frames and one.kind not in FLICKERING:
            level = float(np.mean(one.levels[-TUNING.mended_frames :]))
            size = one.after - one.before
            if abs(level - one.before) < max(TUNING.mended_share * abs(size), 0.004) or (level - one.before) * size < 0:
                self._close(one, float(row[_HOST]), float(row[_AREA]))
            elif count % TUNING.remeasure_frames == 0:
                one.after = level

    def _track_noise(self, one: Opened, i: int) -> None:
        """Over once the frames are as even again as they were before."""
        row = self._tail.upto(i, 1)[:, 0]
        one.levels = [*one.levels[-TUNING.rough_frames :], float(row[_LOG_C])]
        one.after = float(np.mean(one.levels[-TUNING.mended_frames :]))
        if (
            len(one.levels) > TUNING.even_frames
            and _spread(np.array(one.levels[-TUNING.even_frames :])) < TUNING.even_ratio * self._even
        ):
            self._close(one, float(row[_HOST]), float(row[_AREA]))

    def _judge(self, one: Opened, i: int, count: int) -> None:
        levels = np.array(one.levels[TUNING.lag_frames :])
        past = self._tail.upto(i, TUNING.boom_tail)
        level = float(np.mean(levels))
        onset = self._onset(past, count, level)
        after = After(
            level,
            *pressure_step(past[_LOG_P], past[_HOST], onset),
            float(np.median(past[_MOVED, -count:])),
            float(np.median(one.roughs)),
            _spread(levels),
        )
        one.after = after.log_c
        one.final = count >= TUNING.settle_frames
        if abs(one.after - one.before) < TUNING.gone:  # gone again before it could be judged
            return
        spoilt = rough(self._before, after)
        if spoilt is not None and not self._moves:
            one.kind, one.or_else, one.sure = spoilt.kind, spoilt.or_else, spoilt.sure
            return
        if self._sudden and not self._moves:
            one.began_s, one.began_m2 = float(past[_HOST, onset]), float(past[_AREA, onset])
        healthy = one.before
        self._move = Moved(self._before.log_c - healthy, after.log_c - healthy, after.moved, after.moved_sd)
        self._name(one)

    def _onset(self, past: Floats, count: int, level: float) -> int:
        """The last of the frames `past` before a change that was called `count` frames before their end."""
        n = past.shape[1]
        onset = max(n - count - self._frames - 1, 0)
        first = max(onset - TUNING.onset_earlier, 0)
        found: int = first + last_before(past[_LOG_C, first:], past[_HOST, first:], self._before.log_c, level, count)
        jump = np.mean(past[_LOG_C, found + 1 + TUNING.lag_frames :][: TUNING.onset_beside]) - np.mean(
            past[_LOG_C, : found + 1][-TUNING.onset_beside :]
        )
        sudden = bool(jump / (level - self._before.log_c) > TUNING.sudden_share)
        if not self._moves:  # what has grown began as it began
            self._sudden = sudden
        return found if sudden else onset

    def _name(self, one: Opened) -> None:
        """Name it from all that the pressure has said since it began."""
        moves = [*self._moves, self._move] if self._move is not None else self._moves
        likelihoods = self._droop.likelihoods(moves, self._turns)
        verdict = judge(likelihoods, one.after - one.before, self._sudden, self._nozzles, one.kind if one.final else "")
        one.kind, one.or_else, one.sure = verdict.kind, verdict.or_else, verdict.sure

    def turned(self, rise: float, apart_s: float) -> None:
        """ln P has risen by `rise` from spraying to shut, at either end of a pass; `apart_s` (s) between the two."""
        rows = self._tail.upto(self._next - 1, TUNING.boom_tail)
        sd = math.hypot(usual_sd(rows[_LOG_P], rows[_HOST], apart_s), TUNING.turn_sd)
        one = self._current
        if one is None:
            self._droop.learn(rise, sd)
        elif self._move is not None and one.kind not in FLICKERING:
            self._turns.append(Turned(one.after - one.before, rise, sd))
            self._name(one)

    def _close(self, one: Opened, at_s: float, area_m2: float) -> None:
        one.ended_s, one.ended_m2, one.final = at_s, area_m2, True
        self._healthy = one.before if math.isfinite(one.before) else self._healthy
        self._current = None


def _spread(log_c: Floats) -> float:
    """Typical change from frame to frame; infinite for too few. A step lies in less frames than count here."""
    return max(float(np.quantile(np.abs(np.diff(log_c)), 0.6)), TUNING.spread_floor) if len(log_c) >= 10 else math.inf
