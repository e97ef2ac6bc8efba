"""Every recent window of frames against the baseline, weighed by the noise of this run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.bubbles import clog_odds
from host.pipeline.faults.noise import Sigma
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING


@dataclass(frozen=True)
class Judged:
    """Of the windows that end with each frame, the least likely one. Arrays of shape (n,)."""

    ratio: Floats  # log likelihood ratio
    frames: Ints  # its length
    down: Bools


class Windows:
    """Running sums over the frames since the last restart, and the judgement of all windows that end in each.

    The deviation of a window is the difference of two running sums of pulses, so that the error of a pole at which
    one frame ends and the next begins counts once at each end of the window, however long it is.
    """

    def __init__(self, timing: Timing) -> None:
        self._timing, self._lengths = timing, np.array(timing.windows)
        # Asked on top of the ratio, over frames²: some frames' noise is far from normal. A drop is also held against a
        # bubble.
        self._taxes = [tax / (self._lengths**2)[:, None] for tax in (TUNING.drop_tax, TUNING.rise_tax)]
        soon = self._lengths <= timing.frames(TUNING.word_longest)
        word = np.minimum(TUNING.word + TUNING.word_tax / self._lengths**2, TUNING.adaptive)
        self._asked = np.where(soon, word, TUNING.adaptive)  # of the ratio, for a first word
        self._shortest_rise = timing.frames(TUNING.shortest_rise)
        self._reach = timing.frames(TUNING.bubble_more) + timing.frames(TUNING.step_window)
        self._rows: Floats
        self._raw: Floats
        self._fresh: bool
        self.restart()

    def push(self, off: Floats, weight: Floats, log_p: Floats, log_root: Floats, time_s: Floats, sd: Floats) -> None:
        """Add frames: how far c is off its baseline (relative), expected pulses, ln P, lagged ln √P, time, shape (n,).

        `sd` is one frame's standard deviation; what a frame may add to a rise is bounded by it.
        """
        rows = self._rows
        if self._fresh:
            rows[3:, 0] = log_root[0], time_s[0]
        rising = np.minimum(off, TUNING.rise_clip * np.maximum(sd, TUNING.rise_sd_floor))
        new = np.array((off * weight, rising * weight, weight, log_root, time_s))
        self._rows = np.concatenate((rows, new), axis=1)
        sums = self._rows[:3, rows.shape[1] - 1 :]
        np.cumsum(sums, axis=1, out=sums)
        self._raw = np.concatenate((self._raw, np.array((off, weight, log_p, time_s))), axis=1)
        self._fresh = False

    def quiet(self, n: int, sigma: Sigma) -> bool:
        """Whether no window that ends in the last `n` frames can be judged to be worth a word, however even they are:
        none is far enough off for the least noise that Noise gives them, `sigma`."""
        first = self._rows.shape[1] - n
        white2, edge2, drift2 = (float(column.min()) ** 2 for column in (sigma.white, sigma.edge, sigma.drift))
        # A little less than what is asked: sums are rounded.
        asked = 0.999 * np.sqrt(2.0 * (white2 / self._lengths + edge2 / self._lengths**2 + drift2))
        drops, rises = (
            asked * np.sqrt(by * (self._asked + tax[:, 0]))
            for by, tax in zip((1.0, TUNING.rising), self._taxes, strict=True)
        )
        left = np.zeros((len(drops), 2, 3))  # of what is asked, when a drop and a rise have been taken off
        left[:, 0, 0], left[:, 0, 2], left[:, 1, 1], left[:, 1, 2] = 1.0, drops, -1.0, rises
        left[self._lengths < self._shortest_rise, 1] = 0.0
        sums = (left.reshape(-1, 3) @ self._rows[:3]).reshape(len(left), 2, -1)
        changes = np.zeros((len(left), 2, n))  # 0 where a window would begin before the first row
        for length, of, change in zip(self._lengths.tolist(), sums, changes, strict=True):
            end = max(first, length)
            np.subtract(of[:, end:], of[:, end - length : -length], out=change[:, end - first :])
        return not changes.min() < 0

    def judge(self, n: int, sigma: Sigma, rough: Floats) -> Judged:
        """Of the last `n` frames: `sigma` as Noise gives it, `rough` how many times noisier they are; a rise's ratio is
        divided by `rising`."""
        first = self._rows.shape[1] - n
        ends = np.arange(first, first + n)
        lengths = self._lengths
        begins = ends - lengths[:, None]
        change = self._rows[:, None, first:] - self._rows[:, np.maximum(begins, 0)]  # (5, windows, n)
        weight = np.where(begins >= 0, change[2], np.inf)  # a window that would begin before the first row is none
        lagging = TUNING.lag_u_s * change[3] / np.maximum(change[4], 1e-3)
        white2, edge2, long = sigma.white**2, sigma.edge**2, lengths[:, None]
        variance = (white2 / long + edge2 / (long * long)) * (rough * rough)
        variance = variance + sigma.drift * sigma.drift + lagging * lagging
        drop, rise = change[0] / weight, change[1] / weight
        rising_now = (rise > 0) & (self._shortest_rise <= lengths)[:, None]
        ratio = np.where(drop < 0, drop * drop / (2.0 * variance) - self._taxes[0], 0.0)
        ratio = np.where(rising_now, rise * rise / (2.0 * TUNING.rising * variance) - self._taxes[1], ratio)
        least = np.argmax(ratio, axis=0)  # the shortest of equals
        at = least, np.arange(n)
        found = ratio[at] > 0
        falls = (drop[at] < 0) & ~rising_now[at]
        return Judged(np.where(found, ratio[at], 0.0), np.where(found, lengths[least], 0), found & falls)

    def likely(self, judged: Judged) -> Bools:
        """Where a step is likely enough for a first word, shape (n,); a bubble may be as likely."""
        places = np.minimum(np.searchsorted(self._lengths, judged.frames), len(self._lengths) - 1)
        return np.asarray(judged.ratio > self._asked[places])

    def clog_odds(self, place: int, n: int, judged: Judged, per_expected: float, sd: float) -> float:
        """Log of the odds of a clog against a bubble, for the drop judged in frame `place` of the last `n`.

        `per_expected` is c, which makes pulses of the expected ones; `sd` one frame's standard deviation there.
        """
        end = self._raw.shape[1] - n + place + 1
        frames = int(judged.frames[place])
        rows = self._raw[:, max(end - frames - self._reach, 0) : end]
        return float(clog_odds(rows, frames, rows[1] * per_expected, sd, self._timing))

    def keep(self, used: int, n: int) -> None:
        """Of the last `n` frames only the first `used` have been used; forget what no window will reach any more."""
        length = self._rows.shape[1] - n + used
        self._rows = self._rows[:, max(length - self._lengths[-1] - 1, 0) : length]
        length = self._raw.shape[1] - n + used
        self._raw = self._raw[:, max(length - self._lengths[-1] - self._reach, 0) : length]

    def last_off(self, frames: int) -> float:
        """Mean of how far c was off its baseline in the last frames, relative."""
        return float(np.mean(self._raw[0, -frames:]))

    def forget(self, last_s: float) -> None:
        """Take the frames of the last `last_s` (s) out again."""
        if self._raw.shape[1]:
            kept = int(np.searchsorted(self._raw[3], self._raw[3, -1] - last_s, side="right"))
            gone = self._raw.shape[1] - kept
            self._raw = self._raw[:, :kept]
            self._rows = self._rows[:, : max(self._rows.shape[1] - gone, 1)]

    def restart(self) -> None:
        """Begin again: no window reaches back behind this."""
        self._rows = np.zeros((5, 1))  # pulses too few or many (drops, rises), weight, ln √P, time: sums of the first 3
        self._raw = np.empty((4, 0))  # as bubbles.clog_odds takes them
        self._fresh = True
