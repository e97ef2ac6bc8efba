"""How long after the flow has begun the boom's coefficient says nothing: learned from the run's own passes.

The rotor spins up and the boom fills. In each pass that lasts long enough the last moment is found at which the ratio
of pulses to the pressure's due still lay off where it came to rest; the longest of the last passes and a margin count.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.median import NORMAL, median
from host.pipeline.faults.tuning import TUNING

_MEAN = 3  # frames


class StartMask:
    """One mask for each pass, in µs; a pass teaches those after it."""

    def __init__(self) -> None:
        self._settled_s: list[float] = []
        self._mask_us = TUNING.mask_at_first_s * 1e6
        self._times: list[float] = []
        self._ratios: list[float] = []
        self._done = True  # nothing to learn before a pass has begun

    def push(self, starts: Bools, since_us: Ints, log_ratio: Floats) -> Floats:
        """The mask (µs) in each frame, shape (n,): `starts` where a pass begins, `since_us` since the last beginning,
        `log_ratio` of pulses to what the pressure lets expect, NaN where that is not known."""
        masks = np.empty(len(starts))
        for begin, end in pairwise([0, *np.flatnonzero(starts[1:]) + 1, len(starts)]) if len(starts) else ():
            if starts[begin]:
                self._begin()
            masks[begin:end] = self._mask_us
            if not self._done:
                self._take(since_us[begin:end] * 1e-6, log_ratio[begin:end])
        return masks

    def _begin(self) -> None:
        self._times, self._ratios, self._done = [], [], False
        known = self._settled_s[-TUNING.mask_passes :]
        if len(known) >= TUNING.mask_least_passes:
            low, high = TUNING.mask_range_s
            self._mask_us = 1e6 * min(max(max(known) + TUNING.mask_margin_s, low), high)

    def _take(self, since_s: Floats, log_ratio: Floats) -> None:
        inside = since_s <= TUNING.mask_learn_s
        known = inside & np.isfinite(log_ratio)
        self._times += since_s[known].tolist()
        self._ratios += log_ratio[known].tolist()
        if not inside.all():
            self._done = True
            self._learn(np.array(self._times), np.array(self._ratios))

    def _learn(self, times: Floats, ratios: Floats) -> None:
        rest = ratios[times > TUNING.mask_learn_s - TUNING.mask_rest_s]
        if len(rest) < _MEAN:
            return
        level = median(rest)
        means = np.convolve(ratios, np.full(_MEAN, 1.0 / _MEAN), "valid")
        scatter = NORMAL * median(np.abs(means[-len(rest) :] - median(means[-len(rest) :])))
        off = np.abs(means - level) > max(TUNING.mask_off, 4.0 * scatter)
        last = np.flatnonzero(off)
        self._settled_s.append(float(times[last[-1] + _MEAN - 1]) if len(last) else 0.0)
