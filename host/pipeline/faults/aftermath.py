"""What a fault leaves behind: a step that only leads back, or that began while something else was wrong."""

from __future__ import annotations

import math

from host.pipeline.faults.boom_history import HOST, BoomHistory
from host.pipeline.faults.ending import stands_off
from host.pipeline.faults.steps import Level, Step
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING


class Aftermath:
    """What was so before the last fault that has ended, and until when something else explained what was seen."""

    def __init__(self, nozzles: int, history: BoomHistory, timing: Timing) -> None:
        self._nozzles, self._history = nozzles, history
        self._long = timing.frames(TUNING.boom_before)
        self._healthy = math.nan  # log c before the last fault that has ended
        self._explained_s = -math.inf

    def ended(self, before: float) -> None:
        """A fault is over, or was none, that began at the level `before` (log c)."""
        self._healthy = before if math.isfinite(before) else self._healthy

    def explained(self, until_s: float) -> None:
        """What was seen until then had another cause."""
        self._explained_s = until_s

    def is_new(self, i: int, step: Step) -> bool:
        """Whether `step`, found in frame `i`, is neither the one nor the other."""
        history = self._history
        if self.returns(history.baseline(i), history.level(i, step)):
            return False
        # What took long to show may have begun while something else was wrong.
        return step.frames <= self._long or float(history.rows(i, step.frames)[HOST, 0]) >= self._explained_s

    def is_none(self, i: int, level: Level) -> bool:
        """Whether a new level, known in frame `i`, only leads back, or is given by hoses while the pressure runs: then
        the way back is none either."""
        if self._history.given_by_hoses(self._history.rows(i), level.after - level.before):
            self.ended(level.before)
            return True
        return self.returns(level.before, level.after)

    def returns(self, before: float, after: float) -> bool:
        """Whether a step only leads back to the level before the last fault, which was over while it was judged."""
        # Never before a first fault: its NaN compares as false.
        left = after - self._healthy
        return abs(left) < 0.5 * abs(before - self._healthy) and not stands_off(left, self._nozzles)
