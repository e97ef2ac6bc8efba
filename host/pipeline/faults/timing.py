"""How many reports the watch's seconds are: boards report every 20 to 1000 ms, and all rigs are to be watched alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from host.pipeline.counts import Counts
from host.pipeline.faults.tuning import TUNING, Span

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class Timing:
    """For one interval between reports (s)."""

    interval_s: float = 0.1

    def frames(self, span: Span) -> int:
        """Reports in so many seconds, and no fewer than are needed."""
        seconds, least = span
        return max(round(seconds / self.interval_s), least)

    @property
    def windows(self) -> tuple[int, ...]:
        """Lengths in reports of the windows that are held against the baseline."""
        most = self.frames((TUNING.longest_window_s, TUNING.windows[4]))
        least = self.frames((0.2, 2))
        return tuple(length for length in TUNING.windows if least <= length <= most)

    @property
    def noise_block(self) -> int:
        """Reports from which the noise is learned: whole spans of them."""
        span = self.frames(TUNING.noise_unit) * TUNING.noise_span
        return -(-self.frames(TUNING.noise_block) // span) * span


USUAL = Timing()


class ReportInterval:
    """The run's interval: from its first reports, and another one once reports keep to it.

    A board begins with an interval of its own and is asked for another within its first reports; it may go back to its
    own for a moment when it restarts, which is no reason to begin anew.
    """

    def __init__(self) -> None:
        self._timing: Timing | None = None
        self._steps_s: list[float] = []  # of the first reports; then those in a row that keep to no known interval

    def push(self, counts: Counts) -> list[tuple[int, Timing]]:
        """From which of these reports on which interval holds; empty: as before, or not known yet."""
        clean = (counts.lost == 0) & ~counts.broken & (counts.step_us > 0)
        places = np.flatnonzero(clean)
        steps_s = counts.step_us[places] * 1e-6
        found: list[tuple[int, Timing]] = []
        at = 0
        while at < len(places):
            if self._timing is not None and not self._steps_s:
                off = np.flatnonzero(_differs(steps_s[at:], self._timing.interval_s))
                if not len(off):
                    break
                at += int(off[0])
            if timing := self._take(float(steps_s[at])):
                self._timing, self._steps_s = timing, []
                found.append((int(places[at]), timing))
            at += 1
        return found

    def _take(self, step_s: float) -> Timing | None:
        """What one more step says."""
        if self._timing is not None and not _differs(step_s, self._timing.interval_s):
            self._steps_s = []
            return None
        needed = TUNING.interval_steps if self._timing is None else TUNING.new_interval_steps
        self._steps_s = [*self._steps_s, step_s][-needed:]
        if len(self._steps_s) < needed:
            return None
        interval_s = float(f"{np.median(self._steps_s):.2g}")  # as the board was told, without its jitter
        if self._timing is not None and np.any(_differs(self._steps_s, interval_s)):
            return None
        return Timing(interval_s)


def _differs(steps_s: ArrayLike, interval_s: float) -> NDArray[np.bool_]:
    """Whether steps are of another interval; same shape."""
    return np.asarray(np.abs(np.divide(steps_s, interval_s) - 1.0) > TUNING.interval_differs)
