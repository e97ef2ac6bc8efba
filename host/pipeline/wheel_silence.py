"""Spraying while the wheel gives no pulses: the sprayer stands, or its wheel's sensor has failed. Pulses alone cannot
tell which; but nobody stands on one spot for long with the spray on."""

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
    """Where the wheel is silent during spraying, and where so long that it may not have stood. Shape (n,)."""

    shows: Bools
    doubted: Bools


class WheelSilence:
    """Follows the time sprayed since the wheel's last pulse."""

    def __init__(self) -> None:
        self._sprayed, self._shut = SumSince(), SumSince()
        self._sprayed_us, self._before_shut = HoldLast(0), HoldLast(0)

    def push(self, counts: Counts, sprays: Bools) -> Silent:
        """Continue with frames in which water flowed out of the boom where `sprays`, shape (n,)."""
        wheel = counts.wheel
        turned = (wheel.step > 0) | (wheel.late > 0) | counts.broken
        silent_us: Ints = self._sprayed(np.where(sprays, np.minimum(counts.step_us, _SHUT_US), 0), turned)
        shut = ~sprays & (counts.board_us - self._sprayed_us(counts.board_us, sprays) >= _SHUT_US)
        shut &= (silent_us >= AGAIN_US) & (wheel.total > 0)  # before the first pulse a keeper tries the spray
        once_shut = self._shut(shut.astype(np.int64), turned) > 0
        again_us = silent_us - np.where(once_shut, self._before_shut(silent_us, shut | turned), silent_us)
        doubted = sprays & ((silent_us >= _STANDS_US) | (again_us >= AGAIN_US))
        return Silent(sprays & (silent_us >= _SHOWS_US), doubted)
