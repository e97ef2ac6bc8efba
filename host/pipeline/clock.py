"""How fast the board's clock runs against the host's.

Hobby boards keep time to half a percent, computers to a few parts in 100,000. Over the run the host's arrival times
are regressed on the board's own times; the slope corrects flow and speed. Rate per area needs no clock: both volume
and distance are counts, and where edge times sharpen them the same clock stands above and below the line.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from host.pipeline.carry import RunningSum
from host.pipeline.columns import Floats, Ints
from host.pipeline.counts import Counts

_ARRIVAL_SPREAD_S = 0.005  # how much arrival times scatter
_PRIOR_SPREAD = 0.003  # how far the clocks may reasonably be apart, one standard deviation
_PRIOR_WEIGHT = (_ARRIVAL_SPREAD_S / _PRIOR_SPREAD) ** 2  # s², pulls the slope to 1 in the first seconds
_LATE_S = 0.05  # an arrival out of step with the board by more is the computer's hiccup, not the clock
_LARGEST_ERROR = 0.02  # beyond this the recording was made faster or slower than real time: leave the board's clock be


class ClockScale:
    """Host seconds per board second, from the run so far."""

    def __init__(self) -> None:
        self._closed = np.zeros(2)  # Σ(x-x̄)², Σ(x-x̄)(y-ȳ) of earlier stretches between restarts
        self._open = _Regression(0.0, 0.0)

    def push(self, counts: Counts, host_s: Floats) -> Floats:
        """The scale after each frame, shape (n,).

        Source: least-squares slope, NIST/SEMATECH e-Handbook 4.1.4.1, pooled over stretches, with a Gaussian prior.
        """
        scale = np.ones(len(host_s))
        starts = np.flatnonzero(counts.broken)
        for begin, end in _spans(starts, len(host_s)):
            if begin < len(host_s) and counts.broken[begin]:
                self._closed = self._closed + self._open.spread()
                self._open = _Regression(float(counts.board_us[begin]), float(host_s[begin]))
            spread = self._closed + self._open.push(counts, host_s, begin, end)
            slope = (spread[:, 1] + _PRIOR_WEIGHT) / (spread[:, 0] + _PRIOR_WEIGHT)
            scale[begin:end] = np.where(np.abs(slope - 1) <= _LARGEST_ERROR, slope, 1.0)
        return scale


def _spans(starts: Ints, length: int) -> list[tuple[int, int]]:
    edges = sorted({0, length, *starts.tolist()})
    return list(pairwise(edges))


class _Regression:
    """Sums of least squares between two restarts of the board, about the first frame there."""

    def __init__(self, board_us: float, host_s: float) -> None:
        self._origin = board_us, host_s
        self._sums = [RunningSum() for _ in range(5)]
        self._last_host_s = host_s

    def push(self, counts: Counts, host_s: Floats, begin: int, end: int) -> Floats:
        """Σ(x-x̄)² and Σ(x-x̄)(y-ȳ) after each frame, shape (end - begin, 2)."""
        x = (counts.board_us[begin:end] - self._origin[0]) * 1e-6
        y = host_s[begin:end] - self._origin[1]
        host_step = np.diff(host_s[begin:end], prepend=self._last_host_s)
        self._last_host_s = float(host_s[end - 1])
        punctual = (np.abs(host_step - counts.step_us[begin:end] * 1e-6) < _LATE_S).astype(np.float64)
        terms = (punctual, x * punctual, y * punctual, x * x * punctual, x * y * punctual)
        n, sx, sy, sxx, sxy = (total(term) for total, term in zip(self._sums, terms, strict=True))
        return _centred(n, sx, sy, sxx, sxy)

    def spread(self) -> Floats:
        """The same two sums as they stand now, shape (2,)."""
        alone: Floats = _centred(*(np.array([total.last]) for total in self._sums))[0]
        return alone


def _centred(n: Floats, sx: Floats, sy: Floats, sxx: Floats, sxy: Floats) -> Floats:
    mean = sx / np.maximum(n, 1)
    return np.stack((sxx - sx * mean, sxy - sy * mean), axis=1)
