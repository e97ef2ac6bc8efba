"""Without a spray switch, and the transducer before the valve: the flow is gone. Was the boom shut, or is the meter
silent? A boom that is shut lets the pressure rise, each time by about as much; a meter that gives no pulses does not.
And somebody who sprays walks on, further than in a turn."""

from __future__ import annotations

import math

import numpy as np

from host.pipeline.carry import Previous, SumSince
from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.tuning import TUNING


class ShutOrSilent:
    """Learns from the run's own turns how far the pressure rises in them and how far somebody walks."""

    def __init__(self) -> None:
        self._walked, self._flowed = SumSince(), Previous(False)
        self._turns: list[tuple[float, int]] = []  # rise of ln P from spraying to shut, and pulses of the wheel
        self._rise, self._most, self._way = math.nan, -math.inf, 0  # since the flow is gone
        self._before_s = 0.0

    def push(self, now_s: Floats, idle_s: Floats, flowing: Bools, rise: Floats, wheel: Ints) -> Bools:
        """Where the meter is likely to be silent, shape (n,): seconds, and those since the last flow pulse, whether it
        is `flowing`, rise of ln P since it sprayed (NaN where it is not known), and pulses of the wheel."""
        way, silent = self._walked(wheel, flowing), np.zeros(len(now_s), dtype=np.bool_)
        begins = flowing & ~self._flowed(flowing)
        told = np.flatnonzero(begins | (~flowing & (idle_s > TUNING.give_shut_s) & np.isfinite(rise)))
        rows = (a[told].tolist() for a in (now_s, flowing, idle_s, rise, way))
        for place, now, flows, idle, up, walked in zip(told.tolist(), *rows, strict=True):
            if flows:
                self._turned()
                continue
            share = min((now - self._before_s) / TUNING.down_mean_s, 1.0)
            self._rise = up if math.isnan(self._rise) else self._rise + (up - self._rise) * share
            self._way, self._before_s = walked, now
            if idle > TUNING.turn_level_from_s:
                self._most = max(self._most, self._rise)
            silent[place] = idle > TUNING.turn_least_s and self._stays_down()
        return silent

    def _turned(self) -> None:
        """It flows again: that was a turn, unless the meter was silent in it."""
        if math.isnan(self._rise):
            return
        if not self._stays_down():
            self._turns = [*self._turns[1 - TUNING.turns_kept :], (self._rise, self._way)]
        self._rise, self._most = math.nan, -math.inf

    def _stays_down(self) -> bool:
        """Whether the pressure is as in spraying, and was, where it rises in turns, and the way is longer than they."""
        if len(self._turns) < TUNING.turns_least:
            return False
        rises, ways = np.array(self._turns).T
        usual, sd = float(np.median(rises)), max(float(np.std(rises)), TUNING.turn_rise_sd)
        further = self._way > TUNING.turn_further * float(ways[-TUNING.mask_passes :].max())
        apart = usual - self._rise > TUNING.turn_sigmas * sd
        return bool(further and apart and -self._rise < TUNING.turn_share * usual > self._most)
