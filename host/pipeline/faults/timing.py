"""How many reports the watch's seconds are: boards report every 20 to 1000 ms, and all rigs are to be watched alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.counts import Counts
from host.pipeline.faults.tuning import TUNING, Span


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
    """The run's interval, from its first reports."""

    def __init__(self) -> None:
        self._steps_s: list[float] = []

    def push(self, counts: Counts) -> tuple[int, Timing] | None:
        """From which of these reports on it is known; None: not yet."""
        clean = (counts.lost == 0) & ~counts.broken & (counts.step_us > 0)
        for place in np.flatnonzero(clean).tolist():
            self._steps_s.append(float(counts.step_us[place]) * 1e-6)
            if len(self._steps_s) == TUNING.interval_steps:
                # As the board was told, without its jitter.
                return place, Timing(float(f"{np.median(self._steps_s):.2g}"))
        return None
