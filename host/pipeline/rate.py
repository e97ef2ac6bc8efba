"""Rate on the ground over the last moments of spraying."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.carry import HoldLast, Previous
from host.pipeline.certainty import RateCertainty
from host.pipeline.columns import Bools, Floats, Ints

WINDOW_US = 2_000_000
SHORTEST_US = 800_000  # less than this is no rate yet
SETTLE_US = 500_000  # after spraying begins the meter's rotor still gathers speed: its pulses come late
_SHORTEST_M = 0.3
PULSE_U = 0.2
"""Standard uncertainty of one reading of a running total, in pulses.

The total is carried on between edges at the present frequency, which is off by the meter's uneven poles and by what
the frequency does within one period. Its adequacy is checked by coverage against the simulator's truth.
"""


@dataclass(frozen=True)
class Progress:
    """What the rate is worked out from. Arrays of shape (n,)."""

    board_us: Ints
    volume_m3: Floats  # running total, carried on between pulses
    distance_m: Floats  # the same
    flow_pulse_m3: Floats  # volume of one pulse
    wheel_pulse_m: Floats  # distance of one pulse; 0 with a fixed speed
    applying: Bools  # spraying and moving
    broken: Bools


@dataclass(frozen=True)
class Rate:
    """Arrays of shape (n,); NaN while there is too little to go by."""

    rate_m3_m2: Floats
    u_m3_m2: Floats
    flow_m3_s: Floats  # mean over the same window, on the board's clock


class RateWindow:
    """Rate = ΔV / (Δs · swath), a ratio of sums over at most two seconds of unbroken spraying on the move.

    The window never reaches back into the first half second of a pass, over a restart of the board or a stop. Volume
    and distance are read at the same two moments of one clock, so the clock's error cancels.
    """

    def __init__(self, swath_m: float, certainty: RateCertainty) -> None:
        self._swath_m = swath_m
        self._certainty = certainty
        self._applying_before = Previous(False)
        self._start = HoldLast(0)
        # The frames that a window may still reach: time, then volume and distance.
        self._past_us: Ints = np.empty(0, dtype=np.int64)
        self._past = np.empty((2, 0))

    def push(self, now: Progress) -> Rate:
        """Rate after each frame."""
        starts = now.applying & (~self._applying_before(now.applying) | now.broken)
        stretch_us = self._start(now.board_us, starts)
        times = np.concatenate((self._past_us, now.board_us))
        volume = np.concatenate((self._past[0], now.volume_m3))
        distance = np.concatenate((self._past[1], now.distance_m))
        begin = np.searchsorted(times, np.maximum(now.board_us - WINDOW_US, stretch_us + SETTLE_US))
        begin = np.minimum(begin, np.arange(len(times) - len(now.board_us), len(times)))
        span_us = now.board_us - times[begin]
        moved = now.distance_m - distance[begin]
        poured = now.volume_m3 - volume[begin]
        known = now.applying & (span_us >= SHORTEST_US) & (moved >= _SHORTEST_M)
        self._keep(times, volume, distance)
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = np.where(known, poured / (moved * self._swath_m), np.nan)
            flow = np.where(known, poured / (span_us * 1e-6), np.nan)
            relative = np.sqrt(
                self._certainty.relative_u(flow) ** 2
                + 2 * (PULSE_U * now.flow_pulse_m3 / poured) ** 2
                + 2 * (PULSE_U * now.wheel_pulse_m / moved) ** 2
            )
        return Rate(rate, rate * relative, flow)

    def _keep(self, times: Ints, volume: Floats, distance: Floats) -> None:
        if not len(times):
            return
        first = int(np.searchsorted(times, times[-1] - WINDOW_US))
        self._past_us = times[first:]
        self._past = np.stack((volume[first:], distance[first:]))
