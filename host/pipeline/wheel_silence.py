"""Spraying while a sensor gives no pulses: the sprayer stands, or the sensor has failed. Pulses alone cannot tell
which; but nobody stands on one spot for long with the spray on, nor stands there again after having shut it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.carry import HoldLast, SumSince
from host.pipeline.columns import Bools, Ints
from host.pipeline.counts import Counts

_STANDS_US = 15_000_000  # of spraying: longer than anybody stands
AGAIN_US = 3_000_000  # of spraying, before the spray was shut and after: in the turn between somebody walked
_SHUT_US = 2_000_000
_SHOWS_US = 2_000_000  # of spraying, after which it is worth a word


@dataclass(frozen=True)
class Silent:
    """Where the wheel is silent during spraying, and where so long that it may not have stood; `again` is where it was
    so before the spray was shut, too. Shape (n,)."""

    shows: Bools
    doubted: Bools
    again: Bools


class WheelSilence:
    """Follows the time sprayed since the last pulse of the wheel, or of another sign that it did not stand."""

    def __init__(self, slow_us: float = 0.0) -> None:
        """`slow_us`: from pulse to pulse when it walks slowly; less is no silence worth a word."""
        self._shows_us = max(_SHOWS_US, slow_us)
        self._sprayed, self._shut = SumSince(), SumSince()
        self._sprayed_us, self._before_shut = HoldLast(0), HoldLast(0)

    def push(self, counts: Counts, sprays: Bools, signs: Bools | None = None) -> Silent:
        """Continue with frames in which water flowed out of the boom, or should have, where `sprays`; shape (n,)."""
        wheel = counts.wheel
        turned = (wheel.step > 0) | (wheel.late > 0) | counts.broken
        turned = turned if signs is None else turned | signs
        silent_us: Ints = self._sprayed(np.where(sprays, np.minimum(counts.step_us, _SHUT_US), 0), turned)
        shut = ~sprays & (counts.board_us - self._sprayed_us(counts.board_us, sprays) >= _SHUT_US)
        shut &= (silent_us >= AGAIN_US) & (wheel.total > 0)  # before the first pulse a keeper tries the spray
        since = self._shut(shut.astype(np.int64), turned)
        before_us = self._before_shut(silent_us, (shut & (since == 1)) | turned)
        again_us = silent_us - np.where(since > 0, before_us, silent_us)
        again = sprays & (again_us >= AGAIN_US)
        return Silent(sprays & (silent_us >= self._shows_us), again | (sprays & (silent_us >= _STANDS_US)), again)
