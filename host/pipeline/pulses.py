"""From counted pulses to a frequency without counting steps, and to totals finer than one pulse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.carry import HoldLast, Previous
from host.pipeline.columns import Bools, Floats
from host.pipeline.counts import Counts, PulseCount

_LONGEST_US = 2.0**62
_LATE = 1.5  # of the time between the last two pulses: one that comes later than that has not merely slowed down


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
    frame known to be without any. An input whose edges may lie further apart has a `longest_us`: it counts as stopped
    when an edge is late by the two before it, and at the latest after `longest_us`.
    """

    def __init__(self, stop_us: float, longest_us: float | None = None) -> None:
        self._stop_us, self._longest_us = stop_us, longest_us or stop_us
        self._edge_before = Previous(-(2**62))
        self._frequency, self._between_us = HoldLast(0.0), HoldLast(0.0)

    def push(self, counts: Counts, pulses: PulseCount) -> Pulsing:
        """Continue with the frames of `counts` and one of its inputs."""
        idle_us = np.minimum((counts.board_us - pulses.edge_us).astype(np.float64), _LONGEST_US)
        measured, fresh = self._between_edges(counts, pulses)
        # The first counts of a start may hold pulses from before it: no frequency can be worked out from them.
        held = self._frequency(measured, (pulses.timed | counts.broken) & ~counts.reset)
        bound = 1e6 / np.maximum(idle_us, 1.0)
        going = idle_us <= self._late_us(measured, fresh, pulses.timed)
        frequency = np.where(going, np.where(pulses.timed, held, np.minimum(held, bound)), 0.0)
        fraction: Floats = np.minimum(frequency * idle_us * 1e-6, 1.0)
        return Pulsing(frequency, held, pulses.total + fraction, idle_us)

    def _late_us(self, measured: Floats, fresh: Bools, timed: Bools) -> Floats:
        """After how long without an edge the input has stopped; how far apart edges lie is not known after a start."""
        whole = timed & ~fresh
        between_us = np.where(whole, 1e6 / np.where(whole, measured, 1.0), self._longest_us)
        return np.clip(_LATE * self._between_us(between_us, timed | fresh), self._stop_us, self._longest_us)

    def _between_edges(self, counts: Counts, pulses: PulseCount) -> tuple[Floats, Bools]:
        """Frequency over the edges of each frame, and whether it is not from edge to edge."""
        edge_before = self._edge_before(pulses.edge_us)
        fresh: Bools = counts.broken | (counts.since_us - edge_before > self._longest_us)
        begin = np.where(fresh, counts.since_us, edge_before)
        # From an edge to an edge there are whole periods; from an arbitrary moment half a period is missing on average.
        periods = pulses.step - np.where(fresh, 0.5, 0.0)
        span_us = np.maximum(pulses.edge_us - begin, 1)
        return np.where(pulses.timed, periods * 1e6 / span_us, 0.0), fresh
