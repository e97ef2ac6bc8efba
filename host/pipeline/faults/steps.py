"""Sudden and creeping changes of the boom's coefficient.

Two layers watch log c. The adaptive one holds every recent window (2 to 600 frames) against a baseline that follows
slow drift, and weighs it by the noise measured in this very run: a generalised likelihood ratio (Lai, "Information
bounds and quick detection of parameter changes in stochastic systems", IEEE Trans. Information Theory 44, 1998). The
absolute one adds up what lies beyond a fixed allowance from the first baseline: a cumulative sum (Page, "Continuous
inspection schemes", Biometrika 41, 1954), for what creeps in too slowly for the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from math import expm1
from typing import NamedTuple

import numpy as np

from host.pipeline.carry import Previous
from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.median import NORMAL, median
from host.pipeline.faults.noise import Noise, Sigma, before_rundown
from host.pipeline.faults.poles import PoleMap
from host.pipeline.faults.timing import USUAL, Timing
from host.pipeline.faults.tuning import TUNING
from host.pipeline.faults.windows import Windows

_TOGETHER = 1024  # frames at most that are judged at once: each step found has those behind it judged again


@dataclass(frozen=True)
class Step:
    """One change, found in the usable frame `at` (its place in the arrays pushed)."""

    at: int
    down: bool
    adaptive: bool  # which layer found it
    frames: int  # usable frames since it began
    reference: float = 0.0  # log c that the absolute layer held it against


@dataclass(frozen=True)
class Level:
    """A new level after a step, known in the usable frame `at`."""

    at: int
    frames: int  # usable frames since it began
    before: float  # log c
    after: float


@dataclass(frozen=True)
class Usable:
    """The usable frames of a chunk, arrays of shape (n,): see coefficient.Boom."""

    pulses: Floats
    expected: Floats
    edge: Ints
    log_p: Floats
    log_root: Floats
    time_s: Floats
    start: Ints  # beginnings of the flow so far
    doubtful: Bools  # between the frame before and this one a pulse may have been missed or added

    def __len__(self) -> int:
        return len(self.pulses)


class Followed(NamedTuple):
    """The baseline, and the sums of the absolute layer with for how many frames they have run. Shape (n,)."""

    before: Floats
    after: Floats
    down: Floats
    up: Floats
    n_down: Floats
    n_up: Floats


@dataclass(frozen=True)
class Watched:
    """What came of them. Arrays of shape (n,)."""

    steps: list[Step]
    levels: list[Level]
    log_c: Floats  # poles taken out
    rough: Floats  # how many times noisier than the run in general, 1 or more; 1 where the poles are not known
    baseline: Floats  # that log c was held against; NaN while there is none
    signs: Ints  # of a step that is likely, not proven: frames since it began, negative when c falls; 0: none


class StepWatch:
    """Usable frames in, steps out."""

    def __init__(self, timing: Timing = USUAL) -> None:
        self._timing, frames = timing, timing.frames
        self._poles, self.noise = PoleMap(timing), Noise(timing)
        self._windows = Windows(timing)
        self._first_frames, self._relevel = frames(TUNING.first), frames(TUNING.relevel)
        self._lagging, self._adapt = frames(TUNING.lagging), frames(TUNING.adapt)
        self.baseline = 0.0  # log c; follows drift
        self._learned = 0  # frames that it was taken from; 0: there is none yet
        self._reference_frames = frames(TUNING.reference)
        # Of the absolute layer: the first level, or that after the last step. Held against NaN no sum grows.
        self._reference = math.nan
        self._collected: list[tuple[float, float, float]] = []
        self._usual_weight = 0.0
        self._collecting = self._first_frames
        self._white = 0.0  # of the noise when a new level's last frame came
        self._time_before = Previous(0.0)
        self._sums = [0.0, 0.0, 0.0, 0.0]  # down, up, and the frames since each was last zero
        self._past = np.empty((5, 0))  # time (s) and the sums in the last frames
        self._start_before = Previous(-1)
        self._fall = 0.0  # of log c at the last step
        self._took = 0  # frames until that was found

    def push(self, frames: Usable) -> Watched:
        """Continue with `frames`."""
        steps: list[Step] = []
        self._levels: list[Level] = []
        # The map's corrections are small against one pulse; the floor guards the logarithm.
        corrected, excess, (mapped, levels) = self._corrected(frames)
        log_c = np.log(np.maximum(corrected, 0.05) / frames.expected)
        local, baselines = np.ones(len(frames)), np.full(len(frames), np.nan)
        signs = np.zeros(len(frames), dtype=np.int64)
        begins = np.flatnonzero(frames.start != self._start_before(frames.start))
        place = 0
        while place < len(frames):
            if place in begins:
                self._interrupt()
            ahead = int(np.searchsorted(begins, place, side="right"))
            until = int(begins[ahead]) if ahead < len(begins) else len(frames)
            part = slice(place, min(place + _TOGETHER, until, mapped if place < mapped else len(frames)))
            sigma, rough = self.noise.push(log_c[part])
            # What the missing map adds is no sign of anything wrong, but it hides what is.
            local[part] = np.where(excess[part] > 0, 1.0, rough)
            rough = np.maximum(rough, np.sqrt(1.0 + (excess[part] / sigma.one) ** 2))
            found, baselines[part], signs[part] = self._watch(log_c[part], frames, part, rough, sigma)
            steps += [replace(step, at=place + step.at) for step in found]
            place = part.stop
            if place == mapped:
                self.noise.relearn(levels)
        return Watched(steps, self._levels, log_c, local, baselines, signs)

    def _corrected(self, frames: Usable) -> tuple[Floats, Floats, tuple[int, Floats]]:
        """Pulses without the poles' errors, and the relative standard deviation that these add where not corrected;
        at the end of how many frames the map was found (0: not in these), and log c of the last ones as it gives it."""
        corrected, excess = np.empty(len(frames)), np.zeros(len(frames))
        doubtful = frames.doubtful | (frames.time_s - self._time_before(frames.time_s) > TUNING.turn_s)
        doubts = np.flatnonzero(doubtful)
        mapped: tuple[int, Floats] = 0, np.empty(0)
        place = 0
        while place < len(frames):
            if doubtful[place]:
                self._poles.doubt(bool(frames.doubtful[place]))
            ahead = int(np.searchsorted(doubts, place, side="right"))
            end = min(place + self._poles.room(), int(doubts[ahead]) if ahead < len(doubts) else len(frames))
            part = slice(place, end)
            found = self._poles.poles > 0
            if not self._poles.mapped:
                excess[part] = self._poles.spread / frames.pulses[part]
            corrected[part] = self._poles.push(frames.pulses[part], frames.expected[part], frames.edge[part])
            place = end
            if self._poles.poles > 0 and not found:
                mapped = place, self._poles.log_levels()
        return corrected, excess, mapped

    def _watch(
        self, log_c: Floats, frames: Usable, part: slice, rough: Floats, sigma: Sigma
    ) -> tuple[list[Step], Floats, Ints]:
        expected, log_p = frames.expected[part], frames.log_p[part]
        log_root, time_s = frames.log_root[part], frames.time_s[part]
        found: list[Step] = []
        baselines, signs = np.full(len(log_c), np.nan), np.zeros(len(log_c), dtype=np.int64)
        place = 0
        while place < len(log_c):
            rest = slice(place, len(log_c))
            if self._collecting:
                self._white = float(sigma.white[min(place + self._collecting, len(log_c)) - 1])
                place += self._collect(log_c[rest], expected[rest], time_s[rest], part.start + place)
                continue
            if math.isnan(self._reference):
                rest = slice(place, min(place + max(self._reference_frames - self._learned, 1), len(log_c)))
            known = sigma.of(rest)
            rows = self._follow(log_c[rest], expected[rest], rough[rest], known)
            off = np.exp(log_c[rest] - rows.before) - 1.0
            self._windows.push(off, expected[rest], log_p[rest], log_root[rest], time_s[rest], known.one)
            step, used, likely = self._first_alarm(rows, rough[rest], known)
            signs[place : place + used] = likely[:used]
            self._windows.keep(used, len(off))
            baselines[place : place + used] = rows.before[:used]
            self.baseline = float(rows.after[used - 1])
            kept = self._timing.frames(TUNING.rundown_kept)
            sums = np.array([column[max(used - kept, 0) : used] for column in (time_s[rest], *rows[2:])])
            self._past = np.concatenate((self._past, sums), axis=1)[:, -kept:]
            self._sums = self._past[1:, -1].tolist()
            self._learned += used
            if math.isnan(self._reference) and self._learned >= self._reference_frames:
                self._reference = self.baseline
            if step is not None:
                found.append(replace(step, at=place + step.at, reference=self._reference))
                self._took = step.frames
                self._fall = self._windows.last_off(
                    max(step.frames // 2, min(step.frames, self._timing.frames((0.3, 1))))
                )
                self._windows.restart()
                self._sums, self._past = [0.0, 0.0, 0.0, 0.0], self._past[:, :0]
                self._collecting = self._relevel
            place += used
        return found, baselines, signs

    def _interrupt(self) -> None:
        """The flow had stopped: what came in the moments before that was the rotor running down. A new level that was
        cut short by it is none."""
        self.noise.interrupted()
        if self._collecting:
            if not self._learned:
                kept = _before_rundown(self._collected)
                self._collecting += len(self._collected) - len(kept)
                self._collected = kept
            else:
                self._collecting, self._collected = 0, []
            return
        self._windows.forget(TUNING.rundown_s)
        past = self._past[1:, self._past[0] < self._past[0, -1] - TUNING.rundown_s] if self._past.size else self._past
        if past.shape[1]:
            self._sums = past[:, -1].tolist()
        self._past = self._past[:, :0]

    def _collect(self, log_c: Floats, expected: Floats, time_s: Floats, place: int) -> int:
        """Take frames for a first baseline or, after a step, for a new level; how many were used."""
        used = min(self._collecting, len(log_c))
        self._collected += zip(*(a[:used].tolist() for a in (log_c, expected, time_s)), strict=True)
        self._collecting -= used
        if not self._collecting:
            if not self._learned:
                self._first_level()
            else:
                self._new_level(place + used - 1)
        return used

    def _first_level(self) -> None:
        levels = np.array(self._collected)
        half = len(levels) // 2
        apart = abs(float(np.median(levels[half:, 0]) - np.median(levels[:half, 0])))
        chance = TUNING.sum_sigmas * float(np.median(np.abs(np.diff(levels[:, 0])))) / half**0.5
        if apart > max(TUNING.first_apart, chance):
            # The flow was interrupted, or the rotor still on its way: what comes later decides.
            self._collected = self._collected[half:]
            self._collecting = self._first_frames - len(self._collected)
            return
        off = levels[:, 0] - median(levels[:, 0])
        self._take(levels, TUNING.first_sigmas * max(NORMAL * median(np.abs(off)), TUNING.adapt_clip))

    def _new_level(self, at: int) -> None:
        levels, before, learned = np.array(self._collected[self._lagging :]), self.baseline, self._learned
        frames = self._took + len(self._collected)
        self._take(levels, TUNING.level_clip)
        back = abs(self.baseline - before) < TUNING.recovered_share * abs(self._fall)
        if back or self._unsettled(levels[:, 0], self.baseline - before):
            self.baseline, self._learned = before, learned  # a dip, a bubble, the end of a pass
            return
        self._levels.append(Level(at, frames, before, self.baseline))
        self._reference += self.baseline - before  # what had crept in by then is still to be found

    def _take(self, levels: Floats, most: float) -> None:
        """Take the level of these frames for the baseline; no frame counts as further off the median than `most`."""
        middle = median(levels[:, 0])
        # A ratio of sums, as everything that is held against it: frames weigh by the pulses due in them.
        clipped = np.clip(levels[:, 0] - middle, -most, most)
        self.baseline = middle + float(np.log(np.sum(np.exp(clipped) * levels[:, 1]) / np.sum(levels[:, 1])))
        self._usual_weight = float(np.mean(levels[:, 1]))
        self._learned = len(self._collected)
        self._collected = []

    def _unsettled(self, log_c: Floats, off: float) -> bool:
        """Whether what should be a new level, shape (n,), is a rotor that nothing drives any more, or a dip."""
        half = len(log_c) // 2
        moved = abs(float(np.mean(log_c[-half:]) - np.mean(log_c[:half])))
        chance = TUNING.sum_sigmas * self._white / half**0.5
        return off < -TUNING.confirm_deep or moved > max(TUNING.recovered_share * abs(off), chance)

    def _first_alarm(self, rows: Followed, rough: Floats, sigma: Sigma) -> tuple[Step | None, int, Ints]:
        """The first step in these frames, how many of them are used up by then, and the signs in those."""
        n = len(rough)
        limit = np.maximum(TUNING.absolute_least, TUNING.sum_sigmas * sigma.one)
        limit = np.maximum(limit, TUNING.absolute_s / self._timing.interval_s)
        least = self._timing.frames(TUNING.sum_least)
        low, high = (rows.down > limit) & (rows.n_down >= least), rows.up > limit * TUNING.sum_rising
        alarm, adaptive, signs = low | high, np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.int64)
        if not self._windows.quiet(n, sigma):
            judged = self._windows.judge(n, self._strays(sigma), rough)
            adaptive = judged.ratio > TUNING.adaptive
            likely = self._windows.likely(judged)
            for place in np.flatnonzero(likely & judged.down).tolist():
                c, noise = float(np.exp(rows.before[place])), float(sigma.one[place] * rough[place])
                odds = self._windows.clog_odds(place, n, judged, c, noise)
                likely[place], adaptive[place] = odds > TUNING.word_odds, adaptive[place] and odds > TUNING.bubble_odds
                if adaptive[place]:
                    break
            alarm |= adaptive
            signs = np.where(likely, np.where(judged.down, -judged.frames, judged.frames), 0)
        if not alarm.any():
            return None, n, signs
        at = int(np.argmax(alarm))
        if adaptive[at]:
            return Step(at, bool(judged.down[at]), True, int(judged.frames[at])), at + 1, signs
        return Step(at, bool(low[at]), False, int((rows.n_down if low[at] else rows.n_up)[at])), at + 1, signs

    def _strays(self, sigma: Sigma) -> Sigma:
        """With what the baseline is off by, which was taken from few frames at first."""
        learned = self._learned + np.arange(len(sigma.drift))
        strayed = np.sqrt(sigma.drift**2 + sigma.white**2 / learned + (sigma.edge / learned) ** 2)
        return sigma._replace(drift=strayed)

    def _follow(self, log_c: Floats, expected: Floats, rough: Floats, sigma: Sigma) -> Followed:
        """Baseline before and after each frame, the sums downward and upward, and for how many frames each has run."""
        learned = self._learned + 1 + np.arange(len(log_c))
        weights = np.minimum(expected / (self._usual_weight or float(expected[0])), 3.0)
        shares = weights / np.minimum(learned, self._adapt)
        clips = np.maximum(TUNING.adapt_clip, TUNING.adapt_clip_sigmas * sigma.one)
        baseline = self.baseline
        followed = [baseline]
        for value, share, clip in zip(log_c.tolist(), shares.tolist(), clips.tolist(), strict=True):
            off = expm1(value - baseline)
            baseline += (clip if off > clip else -clip if off < -clip else off) * share
            followed.append(baseline)
        baselines = np.array(followed)
        off_first = np.clip((log_c - self._reference) / rough, -TUNING.sum_clip, TUNING.sum_clip)
        allowance = TUNING.allowance * np.minimum(sigma.drift / TUNING.drift_floor, TUNING.allowance_most)
        down, up, n_down, n_up = self._sums
        down_sums, down_runs = _page(-(off_first + allowance), down, n_down)
        up_sums, up_runs = _page(off_first - allowance, up, n_up)
        return Followed(baselines[:-1], baselines[1:], down_sums, up_sums, down_runs, up_runs)


def _page(steps: Floats, total: float, run: float) -> tuple[Floats, Floats]:
    """The sum of `steps`, never below zero, and for how many frames it has run; it goes on from `total` and `run`."""
    totals, runs = np.zeros(len(steps)), np.zeros(len(steps))
    values, place = steps.tolist(), 0
    for begin in ([0] if total > 0 else []) + np.flatnonzero(steps > 0).tolist():
        if begin < place:
            continue
        for place in range(begin, len(values)):
            total += values[place]
            if total <= 0:
                total, run = 0.0, 0.0
                break
            run += 1
            totals[place], runs[place] = total, run
        place += 1
    return totals, runs


def _before_rundown(frames: list[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """Of (log c, expected pulses, time in s) what came before a rotor at their end ran down."""
    kept = [one for one in frames if one[2] <= frames[-1][2] - TUNING.rundown_s]
    return kept[: before_rundown(np.array([one[0] for one in kept]))]
