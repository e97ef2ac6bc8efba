"""How noisy log c is in this run, and how noisy just now."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from host.pipeline.carry import Previous
from host.pipeline.columns import Floats
from host.pipeline.faults.median import NORMAL, median
from host.pipeline.faults.timing import USUAL, Timing
from host.pipeline.faults.tuning import TUNING


def before_rundown(log_c: Floats) -> int:
    """How many of these frames, shape (n,), came before a rotor at their end ran down."""
    low = log_c < (median(log_c) if len(log_c) else 0.0) - TUNING.rundown_off
    return len(log_c) - int(np.argmin(low[::-1])) if len(low) and not low.all() else 0


class Sigma(NamedTuple):
    """Relative standard deviations as they were known before a frame's block, each of shape (n,)."""

    white: Floats  # the part that averages away with the number of frames
    edge: Floats  # the part that does with its square
    one: Floats  # all that there is from frame to frame
    drift: Floats  # how far the level strays by itself

    def of(self, part: slice) -> Sigma:
        """That of some of the frames."""
        return Sigma(*(column[part] for column in self))


class Noise:
    """Two parts: `white` averages away with the frames, `edge` (pole spacing, rounding) with their square.

    Both are measured on means of a tenth of a second: frames that come faster share the swing of rotor and hoses, and
    from one to the next it has moved only a little.
    """

    def __init__(self, timing: Timing = USUAL) -> None:
        self._length = timing.noise_block
        self._unit, self._local = timing.frames(TUNING.noise_unit), timing.frames(TUNING.noise_local)
        white, edge = TUNING.noise_at_first
        self._white2, self._edge2 = self._of_frames(white * white, edge * edge)
        self._one2 = self._white2 + self._edge2
        self._blocks = 0
        self._block: Floats = np.empty(0)
        self._before = Previous(0.0)
        self._steps: Floats = np.zeros(0)
        self._level = 0.0
        self._changes: list[float] = []
        self._drift = TUNING.drift_floor

    def push(self, log_c: Floats) -> tuple[Sigma, Floats]:
        """The noise as known before each of these frames' blocks, and per frame, shape (n,), how many times noisier the
        last frames (`noise_local`) were, never below 1."""
        steps = np.concatenate((self._steps, np.abs(log_c - self._before(log_c))))
        known, usual, place = np.empty((4, len(log_c))), np.full(len(log_c), np.inf), 0
        while place < len(log_c):
            part = slice(place, min(place + self._length - len(self._block), len(log_c)))
            variances = self._white2, self._edge2, self._one2
            known[:, part] = np.array([*(variance**0.5 for variance in variances), self._drift])[:, None]
            if self._blocks:
                usual[part] = TUNING.noise_local_ratio * ((2 * self._one2) ** 0.5 / NORMAL)
            self._block = np.concatenate((self._block, log_c[part]))
            if len(self._block) == self._length:
                self._learn(self._block)
                self._block = self._block[:0]
            place = part.stop
        self._steps = steps[-(self._local - 1) :]
        return Sigma(*known), self._rough(steps, usual)

    def _rough(self, steps: Floats, usual: Floats) -> Floats:
        """How many times as large as `usual` the median of the last steps is in each frame, never below 1; `steps` may
        go back behind the first of them."""
        local, rough = self._local, np.ones(len(usual))
        lead = max(local - 1 - (len(steps) - len(usual)), 0)  # frames that have too few steps behind them
        steps = steps[len(steps) - len(usual) + lead - local + 1 :]
        high = np.concatenate(([0], np.cumsum(steps > usual.min(initial=np.inf))))
        # No median lies above what less than half of the values do.
        places = np.flatnonzero(high[local:] - high[:-local] >= (local + 1) // 2)
        if len(places):
            ordered = np.sort(steps[places[:, None] + np.arange(local)], axis=1)
            middle = 0.5 * (ordered[:, (local - 1) // 2] + ordered[:, local // 2])
            rough[lead + places] = np.maximum(middle / usual[lead + places], 1.0)
        return rough

    def interrupted(self) -> None:
        """The flow had stopped: the last frames were those of a rotor running down, and say nothing about noise."""
        kept = before_rundown(self._block)
        self._block, self._steps = self._block[:kept], self._steps[:0]
        self._before = Previous(float(self._block[-1]) if kept else self._level)

    def relearn(self, log_c: Floats) -> None:
        """What was learned so far held for frames with the poles' errors in them; `log_c` has the last ones without."""
        self._blocks, self._block = 0, self._block[:0]
        span = self._unit * TUNING.noise_span
        length = min(self._length, len(log_c) // span * span)
        for end in range(length, len(log_c) + 1, length):
            self._learn(log_c[end - length : end], math.inf)
        self._before(log_c[-1:])
        self._steps = np.abs(np.diff(log_c[-self._local :]))

    def _learn(self, block: Floats, growth: float = TUNING.noise_growth) -> None:
        units = block.reshape(-1, self._unit).mean(axis=1) if self._unit > 1 else block
        frame = NORMAL * median(np.abs(block[1:] - block[:-1])) / 2**0.5
        one = NORMAL * median(np.abs(np.diff(units))) / 2**0.5 if self._unit > 1 else frame
        means = units.reshape(-1, TUNING.noise_span).sum(axis=1) / TUNING.noise_span
        steps = np.minimum(np.maximum(means[1:] - means[:-1], -4 * one), 4 * one)
        ten = math.sqrt((steps**2).sum() / len(steps) / 2)
        # one² = white² + edge², ten² = white²/10 + edge²/100. The edge part is half as correlated as that from frame
        # to frame, hence "at least".
        span, (least_white, least_edge) = TUNING.noise_span, TUNING.noise_floor
        white2 = min(max((ten**2 - one**2 / span**2) / (1 / span - 1 / span**2), least_white**2), one**2)
        edge2 = max(one**2 - white2, least_edge**2)
        level = float(block.sum() / len(block))
        if self._blocks:
            self._changes = [*self._changes[1 - TUNING.drift_blocks[1] :], level - self._level]
        self._level = level
        self._blocks += 1
        share = 1.0 / min(self._blocks, TUNING.noise_averaged)
        known = self._white2, self._edge2, self._one2
        found = *self._of_frames(white2, edge2), max(frame * frame, least_white**2 + least_edge**2)
        self._white2, self._edge2, self._one2 = (
            old + (min(new, growth * old) - old) * share for old, new in zip(known, found, strict=True)
        )
        self._drift = self._strayed()

    def _strayed(self) -> float:
        """How far the level strays by itself: from the changes from block to block, without their noise."""
        if len(self._changes) < TUNING.drift_blocks[0]:
            return TUNING.drift_floor
        # Without the trend: what goes one way all the time is what is looked for, not the run's own wandering.
        changes = np.array(self._changes)
        change = NORMAL * median(np.abs(changes - median(changes)))
        strayed = max(change * change - 2 * float(self._white2) / self._length, 0.0)
        return max(TUNING.drift_ratio * math.sqrt(strayed), TUNING.drift_floor)

    def _of_frames(self, white2: float, edge2: float) -> tuple[float, float]:
        """Variances of one frame's parts from those of a mean of `unit` frames."""
        return white2 * self._unit, edge2 * self._unit**2
