"""From counted pulses to a frequency without counting steps, and to totals finer than one pulse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.carry import HoldLast, Previous
from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.counts import Counts, PulseCount

_LONGEST_US = 2.0**62


@dataclass(frozen=True)
class Pulsing:
    """What one input does. Arrays of shape (n,)."""

    frequency_hz: Floats  # on the board's clock; 0 when the pulses have stopped
    counted_hz: Floats  # at which the newest pulses came, also after they have stopped
    total: Floats  # pulses up to the frame's own time, the running fraction included
    idle_us: Floats  # since the last edge


class PulseTimer:
    """Frequency = pulses between edges / time between those edges.

    While no edge comes, the time since the last one bounds the frequency from above: 1/t. After `stop_us` without an
    edge the input counts as stopped and the frequency is 0; the first edges after a stop are timed from the last
    frame known to be without any. Where edges come more slowly than that by nature, it is twice the time between the
    last two, `longest_us` at most, and half of that while one alone has come.
    """

    def __init__(self, stop_us: float, longest_us: float = 0.0) -> None:
        self._stop_us, self._longest_us = stop_us, max(longest_us, stop_us)
        self._edge_before = Previous(-(2**62))
        self._limit, self._limit_before = HoldLast(stop_us), Previous(stop_us)
        self._frequency = HoldLast(0.0)

    def push(self, counts: Counts, pulses: PulseCount) -> Pulsing:
        """Continue with the frames of `counts` and one of its inputs."""
        idle_us = np.minimum((counts.board_us - pulses.edge_us).astype(np.float64), _LONGEST_US)
        edge_before = self._edge_before(pulses.edge_us)
        limit_us = self._stops_after(counts, pulses, edge_before)
        measured = self._between_edges(counts, pulses, edge_before, self._limit_before(limit_us))
        # The first counts of a start may hold pulses from before it: no frequency can be worked out from them.
        held = self._frequency(measured, (pulses.timed | counts.broken) & ~counts.reset)
        bound = 1e6 / np.maximum(idle_us, 1.0)
        going = idle_us <= limit_us
        frequency = np.where(going, np.where(pulses.timed, held, np.minimum(held, bound)), 0.0)
        fraction: Floats = np.minimum(frequency * idle_us * 1e-6, 1.0)
        return Pulsing(frequency, held, pulses.total + fraction, idle_us)

    def _stops_after(self, counts: Counts, pulses: PulseCount, edge_before: Ints) -> Floats:
        """Without an edge for how long (µs) the input counts as stopped, in each frame."""
        apart_us = (pulses.edge_us - edge_before) / np.maximum(pulses.step, 1)
        alone = counts.broken | (apart_us > self._longest_us)
        wanted_us = np.where(alone, self._longest_us / 2, 2.0 * apart_us)
        limit: Floats = self._limit(np.clip(wanted_us, self._stop_us, self._longest_us), pulses.timed | counts.broken)
        return limit

    @staticmethod
    def _between_edges(counts: Counts, pulses: PulseCount, edge_before: Ints, limit_us: Floats) -> Floats:
        fresh: Bools = counts.broken | (counts.since_us - edge_before > limit_us)
        begin = np.where(fresh, counts.since_us, edge_before)
        # From an edge to an edge there are whole periods; from an arbitrary moment half a period is missing on average.
        periods = pulses.step - np.where(fresh, 0.5, 0.0)
        span_us = np.maximum(pulses.edge_us - begin, 1)
        return np.where(pulses.timed, periods * 1e6 / span_us, 0.0)
