"""The usable frames so far, and what a fault of the boom is measured by: levels, onset, what the pressure did."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.causes.pulses import After, Before
from host.pipeline.faults.first_word import FirstWord, still_there
from host.pipeline.faults.median import median
from host.pipeline.faults.noise import before_rundown
from host.pipeline.faults.pressure_step import last_before, pressure_step, usual_sd
from host.pipeline.faults.ring_buffer import Tail
from host.pipeline.faults.steps import Level, Step, Watched
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING

LOG_C, LOG_P, HOST, AREA, ROUGH, MOVED, PULSES = range(7)


@dataclass(frozen=True)
class UsableFrames:
    """The usable frames of a chunk: their places in it and what belongs to each, shape (n,)."""

    places: Ints
    watched: Watched
    pulses: Floats
    log_p: Floats
    host_s: Floats
    area_m2: Floats
    start: Ints  # beginnings of the flow so far
    nearly_empty: Bools  # the tank, by the count


class BoomHistory:
    """Rows: LOG_C … PULSES. A frame is its place among the usable ones of the present chunk, -1 the one before it."""

    def __init__(self, timing: Timing) -> None:
        self._timing, self._length = timing, timing.frames(TUNING.boom_tail)
        self._tail = Tail(7, self._length)
        self._last_log_p = math.nan
        self._baselines: Floats = np.empty(0)

    def push(self, frames: UsableFrames) -> None:
        """Add the next chunk."""
        # The run's first frame has moved from none before: it counts as one that did not move.
        last = frames.log_p[:1] if math.isnan(self._last_log_p) else self._last_log_p
        moved = np.abs(np.diff(frames.log_p, prepend=last))
        if len(frames.log_p):
            self._last_log_p = float(frames.log_p[-1])
        watched = frames.watched
        self._tail.push(watched.log_c, frames.log_p, frames.host_s, frames.area_m2, watched.rough, moved, frames.pulses)
        self._baselines = watched.baseline

    def rows(self, i: int, count: int | None = None) -> Floats:
        """The last `count` frames (all that are kept) up to frame `i`, shape (7, ≤count)."""
        return self._tail.upto(i, self._length if count is None else count)

    def interrupted(self, i: int) -> None:
        """The flow has stopped after frame `i`: how uneven a rotor runs down says nothing."""
        rows = self.rows(i)
        if rows.size:
            rows[ROUGH, before_rundown(rows[LOG_C]) :] = 1.0

    def stays(
        self, rows: Floats, level: float, by: float, even: float, at_s: tuple[float, float], nozzles: int
    ) -> bool | None:
        """Whether log c has stayed off the `level` that it left, down or up as `by`, at the first of `at_s`; that was
        found at the second. None: it may be a dip, or the rotor running down."""
        since = rows[:, rows[HOST] > at_s[0]]
        off = (since[LOG_C] - level) * (-1.0 if by < 0.0 else 1.0)
        stays = still_there(FirstWord(off, since[HOST], by < 0.0, even, self._timing), *at_s, nozzles)
        few = self._timing.frames((0.3, 1))
        return None if stays and self.given_by_hoses(rows, float(np.mean(since[LOG_C, -few:])) - level) else stays

    def given_by_hoses(self, rows: Floats, off: float) -> bool:
        """Whether ln c is `off` by no more than hoses and trapped air take in, or give back, while the pressure
        runs as in the last of `rows` or shortly before: a hand on the knob, a pump that weakens. A boom that takes less
        lets the pressure rise: there the two go apart."""
        seen = self._timing.frames(TUNING.hoses_seen)
        for part in (rows[:, -seen:], rows[:, -2 * seen : -seen]):
            half = part.shape[1] // 2
            if not half:
                continue
            rise, apart_s = (float(np.mean(of[-half:]) - np.mean(of[:half])) for of in part[[LOG_P, HOST]])
            if off * rise <= 0.0 or abs(off) * apart_s >= TUNING.hoses_s * abs(rise):
                continue
            if abs(rise) > TUNING.hoses_sigmas * usual_sd(rows[LOG_P], rows[HOST], apart_s, self._timing):
                return True  # it runs, and is not just shaken by the walk
        return False

    def baseline(self, i: int) -> float:
        """Log c that frame `i` was held against; NaN while there was none."""
        return float(self._baselines[i])

    def level(self, i: int, step: Step) -> float:
        """Log c as `step`, found in frame `i`, has left it so far."""
        return float(np.mean(self.rows(i, min(step.frames, self._timing.frames((0.3, 1))))[LOG_C]))

    def fell_since(self, i: int, level: Level | None, since_s: float) -> bool:
        """Whether c has fallen to `level`, known in frame `i`, from one that it had rested at since `since_s`."""
        if level is None or level.after >= level.before:
            return False
        return float(self.rows(i, level.frames)[HOST, 0]) - since_s > TUNING.remeasure[0]

    def usual_log_c(self, i: int) -> Floats:
        """Log c before the frames that a judgement of roughness looks at."""
        return self.rows(i)[LOG_C, : -2 * self._timing.frames(TUNING.rough_seen)]

    def pulse_kind(self, i: int) -> str:
        """Whether pulses are added or missing."""
        usual = self.usual_log_c(i)
        now = self.rows(i, self._timing.frames(TUNING.boom_before))[LOG_C]
        return "meter_missing" if len(usual) >= 50 and np.mean(now) < median(usual) - 0.01 else "meter_noise"

    def rough_kind(self, i: int, rows: Floats) -> str | None:
        """What makes the last frames, `rows`, so uneven; None: no more than poles do that are not known yet."""
        past = self.rows(i)[:, : -2 * self._timing.frames(TUNING.rough_seen)]
        if past.shape[1] < 100 or median(rows[MOVED]) >= TUNING.rough_pressure * median(past[MOVED]):
            return "air"
        if np.max(np.abs(np.diff(rows[LOG_C]))) * np.mean(rows[PULSES]) < TUNING.pole_clip:
            return None  # one lost or added is a whole pulse
        return "meter_noise" if np.mean(rows[LOG_C]) > median(past[LOG_C]) else "meter_missing"

    def pressure(self, i: int) -> float:
        """Mean ln P of the last frames up to frame `i` before a rotor ran down; NaN where there are too few."""
        frames = self._timing.frames
        rows = self.rows(i, frames(TUNING.rundown_kept))
        rows = rows[:, : before_rundown(rows[LOG_C])][:, -frames(TUNING.boom_before) :]
        return float(np.mean(rows[LOG_P])) if rows.shape[1] >= frames((1.0, 4)) else math.nan

    def pressure_since(self, i: int, before: Before) -> float:
        """Change of ln P up to frame `i`."""
        return float(np.mean(self.rows(i, self._timing.frames((0.3, 1)))[LOG_P])) - before.log_p

    def pressure_sd(self, i: int, apart_s: float) -> Callable[[], float]:
        """What gives how far ln P strayed by itself in `apart_s` (s) up to frame `i`, now or later."""
        log_p, host_s = self.rows(i)[[LOG_P, HOST]]  # a copy
        return lambda: math.hypot(usual_sd(log_p, host_s, apart_s, self._timing), TUNING.turn_sd)

    def after(self, i: int, levels: list[float], roughs: list[float], onset: int, sudden: bool) -> After:
        """How things are since the change of which `levels` are what has been seen, after row `onset`. What was not
        `sudden` shows in the last frames only, and makes the ones before them look uneven."""
        past, settled = self.rows(i), np.array(levels[self._timing.frames(TUNING.lagging) :])
        last = settled[-self._timing.frames(TUNING.step_window) :]
        return After(
            float(np.mean(settled if sudden else last)),
            *pressure_step(past[LOG_P], past[HOST], onset, self._timing, at_once=sudden),
            median(past[MOVED, -len(levels) :]),
            median(np.array(roughs)) if sudden else 1.0,
            spread(settled),
            float(np.mean(past[PULSES, -len(levels) :])),
        )


def goes_one_way(log_c: Floats) -> bool:
    """Whether these frames, shape (n,), fall or rise evenly, as a rotor's that runs down, and do not jump about."""
    steps = np.diff(log_c)
    return bool(abs(np.sum(steps)) > 0.5 * np.sum(np.abs(steps)))


def before_step(log_c: float, rows: Floats) -> Before:
    """How things were in `rows`, with `log_c` as their level."""
    return Before(log_c, median(rows[MOVED]), spread(rows[LOG_C]), float(np.mean(rows[LOG_P, -20:])))


def onset_of(
    past: Floats, count: int, frames: int, before: float, level: float, timing: Timing
) -> tuple[int, int, bool]:
    """Where a change began of which `count` frames have been seen after `frames` that proved it: the last row before
    it by that count, the one that fits the rotor's lag best, and whether it came at once."""
    counted = max(past.shape[1] - count - frames - 1, 0)
    first = max(counted - timing.frames(TUNING.onset_earlier), 0)
    fitted: int = first + last_before(past[LOG_C, first:], past[HOST, first:], before, level, count, timing)
    beside = timing.frames(TUNING.onset_beside)
    later = past[LOG_C, fitted + 1 + timing.frames(TUNING.lagging) :][:beside]
    jump = np.mean(later) - np.mean(past[LOG_C, : fitted + 1][-beside:])
    return counted, fitted, bool(jump / (level - before) > TUNING.sudden_share)


def while_shut(past: Floats, onset: int, timing: Timing) -> bool:
    """Whether a change that began after row `onset` came while the boom was shut: its beginning is known no better than
    to the time that a rotor takes to show it."""
    host_s = past[HOST, max(onset - 1, 0) : onset + 2 + timing.frames(TUNING.lagging)]
    return bool((np.diff(host_s) > TUNING.settle_us * 1e-6 + timing.interval_s).any())


def spread(log_c: Floats) -> float:
    """Typical change from frame to frame, without a trend: the 0.6-quantile, for a step lies in fewer frames than
    that; infinite for too few frames."""
    if len(log_c) < 10:
        return math.inf
    steps = np.diff(log_c)
    return max(float(np.quantile(np.abs(steps - median(steps)), 0.6)), TUNING.spread_floor)
