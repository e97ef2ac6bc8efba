"""What the pressure did in the moment in which the boom's coefficient changed, and how much it moves by itself."""

from __future__ import annotations

import math

import numpy as np

from host.pipeline.columns import Floats
from host.pipeline.faults.median import NORMAL, median
from host.pipeline.faults.timing import USUAL, Timing
from host.pipeline.faults.tuning import TUNING


def last_before(log_c: Floats, time_s: Floats, before: float, after: float, least: int, timing: Timing = USUAL) -> int:
    """The last of the frames, shape (n,), before ln c went from `before` to `after` at once: that with which a rotor's
    lag fits `log_c` best (least squares, outliers bounded). At least `least` < n frames came after it."""
    since = np.maximum(time_s - 0.5 * timing.interval_s - time_s[:-least, None], 0.0)  # a frame stands for its middle
    off = np.abs(log_c - after + (after - before) * np.exp(-since / TUNING.lag_s))
    bound = TUNING.outlier_ratio * median(off.min(axis=0))
    return int(np.argmin(np.sum(np.minimum(off, bound) ** 2, axis=1)))


def pressure_step(
    log_p: Floats, time_s: Floats, onset: int, timing: Timing = USUAL, *, at_once: bool = True
) -> tuple[float, float]:
    """Change of ln P after frame `onset`, and the standard deviation that it would have by itself.

    `log_p` and `time_s` (s), shape (n,); close to the moment on both sides, for the regulator wanders all the time;
    what did not come `at_once` is seen in the last frames.
    """
    window = timing.frames(TUNING.step_window)
    before = slice(max(onset + 1 - window, 0), onset + 1)
    later = np.flatnonzero(time_s > time_s[onset] + TUNING.step_gap_s)
    later = later[:window] if at_once else later[-window:]
    moved = float(np.mean(log_p[later]) - np.mean(log_p[before]))
    apart_s = float(np.mean(time_s[later]) - np.mean(time_s[before]))
    return moved, usual_sd(log_p[: onset + 1], time_s[: onset + 1], apart_s, timing)


def usual_sd(log_p: Floats, time_s: Floats, apart_s: float, timing: Timing = USUAL) -> float:
    """How much the mean ln P of TUNING.step_window strays from that of as many frames `apart_s` (s) earlier."""
    # A wandering level strays with the root of time.
    return _scatter(log_p, time_s, timing) * math.sqrt(max(apart_s / _apart_s(timing), 1.0))


def _apart_s(timing: Timing) -> float:
    return timing.frames(TUNING.step_window) * timing.interval_s + TUNING.step_gap_s


def _scatter(log_p: Floats, time_s: Floats, timing: Timing) -> float:
    """How much the same difference as in `pressure_step` scatters in healthy spraying."""
    window, learned = timing.frames(TUNING.step_window), timing.frames(TUNING.pressure_learn)
    if len(log_p) < learned:
        return TUNING.pressure_sd
    total = np.concatenate(([0.0], np.cumsum(log_p - log_p[0])))
    means = (total[window:] - total[:-window]) / window
    step = round(_apart_s(timing) / timing.interval_s)
    length = step + window - 1
    together = time_s[length:] - time_s[:-length] < 2 * _apart_s(timing)  # no turn between them
    moved = (means[step:] - means[:-step])[together]
    return (
        max(NORMAL * median(np.abs(moved)), TUNING.pressure_sd_floor)
        if len(moved) >= learned // 2
        else TUNING.pressure_sd
    )
