"""A word for a change that is likely, before there is the evidence for a step: it comes sooner, and costs nothing.

The ratio that is asked for a step bounds how often it is called wrongly; a word that makes no sound may be said at a
lower one, and the step then is the evidence for the rest. The windows are not begun again for a word: one that was
said wrongly leaves the watch as if it had not been.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from host.pipeline.faults.open_fault import OpenFault
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING


class EarlyWord:
    """The word that is out, if any; `withdrawn` is told of one that is taken back."""

    def __init__(self, withdrawn: Callable[[OpenFault], None], timing: Timing) -> None:
        self._withdrawn = withdrawn
        self._gone, self._most = timing.frames(TUNING.word_gone), timing.frames(TUNING.word_most)
        self.fault: OpenFault | None = None
        self._frames = self._without = 0  # since it was said; since the last sign of it
        self._rests_s = -math.inf  # until then no other

    def say(self, fault: OpenFault) -> None:
        """`fault` has been opened for it."""
        self.fault, self._frames, self._without = fault, 0, 0

    def follow(self, sign: int, now_s: float) -> bool:
        """Go on by a frame with its `sign`, as Watched has them: no sign of it any more, or none of a step for long,
        and it is taken back. Whether one may be said now: a keeper who sees words come and go stops looking."""
        if self.fault is None:
            return sign != 0 and now_s >= self._rests_s
        same = sign != 0 and (sign < 0) == (self.fault.after < self.fault.before)
        self._frames, self._without = self._frames + 1, 0 if same else self._without + 1
        if self._without >= self._gone or self._frames >= self._most:
            self.take_back(now_s)
        return False

    def take_back(self, now_s: float) -> None:
        """It was none."""
        if self.fault is not None:
            self.fault.withdraw()
            self._withdrawn(self.fault)
            self.fault, self._rests_s = None, now_s + TUNING.word_rest_s

    def proven(self, down: bool, now_s: float) -> OpenFault | None:
        """A step has come, `down` or up: the word that was said for it, if it was."""
        if self.fault is not None and down != (self.fault.after < self.fault.before):
            self.take_back(now_s)
        return self.release()

    def release(self) -> OpenFault | None:
        """The word, if there is one: it goes on as something else."""
        fault, self.fault = self.fault, None
        return fault
