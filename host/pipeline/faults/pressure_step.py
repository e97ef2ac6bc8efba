"""What the pressure did in the moment in which the boom's coefficient changed, and how much it moves by itself."""

from __future__ import annotations

import numpy as np

from host.pipeline.columns import Floats

WINDOW = 11  # frames on each side: two steps of the walk, which shakes the pressure
_GAP = 2  # frames between the two: the onset is known no better, and the hoses give
_LEAST_SD = 0.006
_AT_FIRST = 0.02  # of ln P, before the run has shown how its regulator wanders
_LEARN = 100  # frames
_NORMAL = 1.4826  # standard deviation over median absolute deviation


class PressureStep:
    """ln P before and after an onset, close to it on both sides, for the regulator wanders all the time."""

    def __init__(self, log_p: Floats, time_s: Floats, frames: int) -> None:
        """`log_p` and `time_s` (s) of the last frames, shape (n,); the change began `frames` before their end."""
        onset = max(len(log_p) - frames, 1)
        first = max(onset - WINDOW, 0)
        self._before = float(np.mean(log_p[first:onset]))
        self._before_s = float(np.mean(time_s[first:onset]))
        self._usual = _usual_sd(log_p[:onset], time_s[:onset])
        self._after: list[tuple[float, float]] = []
        for one in zip(log_p[onset + _GAP :].tolist(), time_s[onset + _GAP :].tolist(), strict=True):
            self.push(*one)

    def push(self, log_p: float, time_s: float) -> None:
        """The next frame."""
        if len(self._after) < WINDOW:
            self._after.append((log_p, time_s))

    @property
    def moved(self) -> tuple[float, float]:
        """Change of ln P, and the standard deviation that it would have by itself."""
        after = np.array(self._after)
        apart_s = float(np.mean(after[:, 1])) - self._before_s
        # A wandering level strays with the root of time.
        return float(np.mean(after[:, 0])) - self._before, self._usual * max(apart_s / _apart_s(), 1.0) ** 0.5


def _apart_s() -> float:
    return (WINDOW + _GAP) * 0.1


def _usual_sd(log_p: Floats, time_s: Floats) -> float:
    """How much the same difference scatters in healthy spraying."""
    if len(log_p) < _LEARN:
        return _AT_FIRST
    total = np.concatenate(([0.0], np.cumsum(log_p - log_p[0])))
    means = (total[WINDOW:] - total[:-WINDOW]) / WINDOW
    step = WINDOW + _GAP
    together = time_s[step + WINDOW - 1 :] - time_s[: -(step + WINDOW - 1)] < 2 * _apart_s()  # no turn between them
    moved = (means[step:] - means[:-step])[together]
    return max(float(_NORMAL * np.median(np.abs(moved))), _LEAST_SD) if len(moved) >= _LEARN // 2 else _AT_FIRST
