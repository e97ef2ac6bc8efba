"""One pulse input of the emulated board, with the filters of PROTOCOL.md, section 5."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from firmware_protocol.messages import FilterRule
from host.simulate.disturbances import Disturbance

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


class EdgeCounter:
    """One interrupt input: counts edges, keeps the time of the last one, refuses those that its filter refuses."""

    def __init__(self, filter_us: int, failures: Sequence[Disturbance] = ()) -> None:
        self.count = 0
        self._failures, self._owed = failures, 0.0
        self._dropped: Floats = np.empty(0)  # when pulses were not counted
        self.rule, self.filter_us = FilterRule.SPACING, filter_us
        self._refused = 0
        self._last_s = 0.0
        self._counted_s = self._seen_s = -1.0  # last edge that counted, and last of all, of those pushed
        self._edges: Floats = np.empty(0)
        self._glitches: Floats = np.empty(0)

    def push(self, edges_s: Floats) -> None:
        """Take the edges of the next block."""
        close = self._refuses(edges_s)
        pulses = edges_s[~close]
        lost = self._fails(pulses)
        self._dropped = np.concatenate([self._dropped, pulses[lost]])
        self._edges = np.concatenate([self._edges, pulses[~lost]])
        self._glitches = np.concatenate([self._glitches, edges_s[close]])

    def set_filter(self, rule: FilterRule, filter_us: int, at_s: float) -> None:
        """Filter what comes after `at_s` by another rule, also where a block was pushed that reaches further."""
        self.rule, self.filter_us = rule, filter_us
        pulses = np.sort(np.concatenate([self._edges, self._dropped]))
        later = np.sort(np.concatenate([pulses[pulses > at_s], self._glitches[self._glitches > at_s]]))
        self._owed -= float(self._share(pulses[pulses > at_s]).sum())
        self._edges, self._dropped, self._glitches = (
            of[of <= at_s] for of in (self._edges, self._dropped, self._glitches)
        )
        self._counted_s = float(pulses[pulses <= at_s][-1]) if (pulses <= at_s).any() else self._last_s or -1.0
        self._seen_s = max([self._counted_s, *self._glitches[-1:].tolist()])
        self.push(later)

    def _share(self, pulses_s: Floats) -> Floats:
        """Which share of the pulses about each the board fails to count."""
        shares = (one.amount * one.strength(pulses_s) for one in self._failures)
        return np.minimum(sum(shares, np.zeros(len(pulses_s))), 1.0)

    def _fails(self, pulses_s: Floats) -> Bools:
        """Which pulses the board fails to count: as many of them as the disturbances say, evenly."""
        owed = self._owed + np.cumsum(self._share(pulses_s))
        lost = np.diff(np.floor(owed + 1e-9), prepend=np.floor(self._owed + 1e-9)) > 0
        self._owed = float(owed[-1]) if len(owed) else self._owed
        return np.asarray(lost)

    def _refuses(self, edges_s: Floats) -> Bools:
        """Which edges the filter refuses. A sensor is active for half of each period."""
        shortest_s = self.filter_us * 1e-6 * (1 if self.rule == FilterRule.SPACING else 2)
        refused = np.diff(edges_s, prepend=self._seen_s) < shortest_s
        if self.rule == FilterRule.SPACING and refused.any():
            for place, edge_s in enumerate(edges_s.tolist()):  # what counts is the distance from one that counted
                refused[place] = edge_s - self._counted_s < shortest_s
                self._counted_s = self._counted_s if refused[place] else edge_s
        elif len(edges_s):
            self._counted_s = float(edges_s[-1])
        if len(edges_s):
            self._seen_s = float(edges_s[-1])
        return refused

    def refused(self, at_s: float) -> int:
        """How many edges were refused up to `at_s`, which must not lie before the last report."""
        return self._refused + int(np.searchsorted(self._glitches, at_s, side="right"))

    def dropped(self, at_s: Floats) -> Ints:
        """How many pulses it had failed to count, at each time."""
        return np.asarray(np.searchsorted(self._dropped, at_s, side="right"))

    def counted(self, at_s: float) -> int:
        """How many it had counted up to `at_s`, which must not lie before the last report."""
        return self.count + int(np.searchsorted(self._edges, at_s, side="right"))

    def read(self, since_s: float, at_s: Floats) -> tuple[Ints, Floats, Bools]:
        """Count, time of the last edge (s, 0 before any) and whether one was refused, frame by frame."""
        place = np.searchsorted(self._edges, at_s, side="right")
        counts = self.count + place
        last = np.concatenate([[self._last_s], self._edges])[place]
        refused = np.diff(np.searchsorted(self._glitches, np.concatenate([[since_s], at_s]), side="right")) > 0
        self._drop(int(place[-1]), float(at_s[-1]))
        return counts, last, refused

    def _drop(self, done: int, at_s: float) -> None:
        if done:
            self._last_s = float(self._edges[done - 1])
        self.count += done
        self._edges = self._edges[done:]
        self._refused = self.refused(at_s)
        self._glitches = self._glitches[self._glitches > at_s]

    def restart(self, at_s: float, kept: int = 0) -> None:
        """Forget everything up to `at_s`: the board was off; it begins with the pulses that it `kept`."""
        self.count, self._last_s, self._refused = kept, 0.0, 0
        self._dropped = self._dropped[self._dropped > at_s]
        self._edges = self._edges[self._edges > at_s]
        self._glitches = self._glitches[self._glitches > at_s]
