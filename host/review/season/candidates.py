"""Changes that a season may have had, many at once: which of them there is enough to see, and what each would explain.

A change's column over the observations is never written out: it is nothing, a power of the time since it began, or all
of it, so that what it has in common with other rows is a difference of their sums up to where it begins and ends.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import comb, log

import numpy as np

from host.pipeline.columns import Floats
from host.review.season.changes import (
    FILLING,
    KNOB,
    LONE,
    LONE_BOOM,
    LONE_TANK,
    METER,
    NOZZLES,
    STRAINER,
    TANK,
    WHEEL,
    WRONG_CARD,
    ZERO,
    Change,
)
from host.review.season.observations import BALANCE, BOOM, Observations

Numbers = np.ndarray[tuple[int], np.dtype[np.intp]]

LEAST_BESIDE = 3  # runs on either side of a change
# Standard deviation of what each cause does, beforehand: logarithms, transducer in kPa.
_WIDTHS = {
    NOZZLES: 0.08,
    METER: 0.05,
    ZERO: 12.0,
    TANK: 0.05,
    LONE_BOOM: 0.12,
    LONE_TANK: 0.4,
    WRONG_CARD: 0.1,
    KNOB: 0.5,
    STRAINER: 0.5,
    WHEEL: 0.03,
}
_FAR = 3.0  # a change is seldom so many standard deviations large
# How many of a kind a season has beforehand (lone ones: per run or card), by (power > 0, back).
EXPECTED = {
    NOZZLES: {(False, False): 0.2, (True, False): 0.2, (True, True): 0.1, (False, True): 0.05},
    METER: {(False, False): 0.1, (True, False): 0.1},
    ZERO: {(False, False): 0.03, (True, False): 0.02},
    TANK: {(False, False): 0.02},
    # A hand, a pump or a battery seldom takes pressure bit by bit and gives it back at once.
    KNOB: {(False, False): 0.5, (True, False): 0.2, (True, True): 0.01, (False, True): 0.3},
    STRAINER: {(True, False): 0.03, (True, True): 0.1},
    WHEEL: {(False, False): 0.1, (True, False): 0.05},
    LONE_BOOM: {(False, True): 0.02},
    LONE_TANK: {(False, True): 0.02},
    WRONG_CARD: {(False, True): 0.02},
}
_OPEN = 0.7  # of what comes little by little: there before the first run; there to the last one
_RARE = 0.003  # what is not looked for, only weighed


@dataclass(frozen=True)
class Candidates:
    """m changes of one season as arrays (m,): `cause` counts in the season's causes, `power` is whole."""

    seen: Observations
    cause: Numbers
    first: Numbers
    last: Numbers
    power: Numbers
    back: np.ndarray[tuple[int], np.dtype[np.bool_]]

    @classmethod
    def of(cls, seen: Observations, changes: Sequence[Change]) -> Candidates:
        """These changes."""
        rows = [
            (seen.causes.index(one.cause), one.first, one.last, round(one.power), one.back) for one in changes
        ] or np.zeros((0, 5), dtype=np.intp)
        return cls._from(seen, np.array(rows, dtype=np.intp).T)

    @classmethod
    def grid(
        cls, seen: Observations, cause: str, forms: Iterable[tuple[int, bool]], firsts: Numbers, lasts: Numbers
    ) -> Candidates:
        """A cause in these forms (power, back), from each of the first to each of the last items."""
        begin, end = (column.ravel() for column in np.meshgrid(firsts, lasts, indexing="ij"))
        rises = end >= begin
        tables = []
        for power, back in forms:
            first, last = (begin[rises], end[rises]) if power or back else (firsts, firsts)
            one = np.ones(len(first), dtype=np.intp)
            tables.append(np.stack([one * seen.causes.index(cause), first, last, one * power, one * back]))
        return cls._from(seen, np.concatenate([np.zeros((5, 0), dtype=np.intp), *tables], axis=1))

    @classmethod
    def joined(cls, parts: Sequence[Candidates]) -> Candidates:
        """All of them, in this order."""
        tables = [np.stack([one.cause, one.first, one.last, one.power, one.back]) for one in parts]
        return cls._from(parts[0].seen, np.concatenate(tables, axis=1))

    @classmethod
    def _from(cls, seen: Observations, table: np.ndarray[tuple[int, int], np.dtype[np.intp]]) -> Candidates:
        return cls(seen, table[0], table[1], table[2], table[3], table[4].astype(np.bool_))

    def __len__(self) -> int:
        return len(self.cause)

    def change(self, at: int) -> Change:
        """One of them."""
        first, last = int(self.first[at]), int(self.last[at])
        return Change(self.seen.causes[self.cause[at]], first, last, int(self.power[at]), bool(self.back[at]))

    def at(self, seen: Observations) -> Candidates:
        """The same over another scatter."""
        return Candidates(seen, self.cause, self.first, self.last, self.power, self.back)

    def taken(self, where: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Candidates:
        """Some of them."""
        return Candidates(
            self.seen, self.cause[where], self.first[where], self.last[where], self.power[where], self.back[where]
        )

    def same(self, changes: Iterable[Change]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Which of them are among these changes."""
        out = np.zeros(len(self), dtype=np.bool_)
        for one in changes:
            alike = (
                (self.first == one.first) & (self.last == one.last) & (self.cause == self.seen.causes.index(one.cause))
            )
            out |= alike & (self.power == one.power) & (self.back == one.back)
        return out

    def is_cause(self, *causes: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Which of them are of these causes."""
        return np.array([cause in causes for cause in self.seen.causes], dtype=np.bool_)[self.cause]

    def fitting(self) -> Candidates:
        """Those with enough on both sides, and in it, to be seen."""
        items = len(self.seen.times)
        sound = self.taken((self.first >= 0) & (self.first <= self.last) & (self.last < items))
        tank = sound.is_cause(TANK)
        before, after, inside = (
            np.where(tank, of_balances, of_runs)
            for of_balances, of_runs in zip(sound._around(BALANCE), sound._around(BOOM), strict=True)
        )
        sides = (before >= LEAST_BESIDE) & (after >= LEAST_BESIDE)
        step = (sound.power == 0) & ~sound.back
        gradual = (inside >= 2 * LEAST_BESIDE) & (~sound.back | (after >= LEAST_BESIDE))
        fits = np.where(step, sides, np.where(sound.power > 0, gradual, sides & (inside >= 2)))
        return sound.taken(fits | sound.is_cause(*LONE))

    def _around(self, block: int) -> tuple[Numbers, Numbers, Numbers]:
        """Observations of a block before each, behind it (of a step: from it on), and in it."""
        counts = self.seen.counts(block)
        step = (self.power == 0) & ~self.back
        end = np.where(step, self.first, self.last + 1)
        return counts[self.first], counts[-1] - counts[end], counts[end] - counts[self.first]

    @cached_property
    def worth(self) -> Floats:
        """Logarithm of how likely each is beforehand."""
        items = len(self.seen.times)
        many = np.array(
            [
                [
                    [log(EXPECTED[cause].get((gradual, back), _RARE)) for back in (False, True)]
                    for gradual in (False, True)
                ]
                for cause in self.seen.causes
            ]
        )[self.cause, (self.power > 0).astype(np.intp), self.back.astype(np.intp)]
        step = (self.power == 0) & ~self.back
        # What wears or drifts most often did so before the season; what fills up begins when it was cleaned, some day.
        # Both most often go on behind it, until they are ended.
        anywhere = -log(items / 4.0 + 1.0)
        drifts = (self.power == 1) & ~self.is_cause(STRAINER, KNOB)
        begins = np.where(self.first == 0, log(_OPEN), log(1.0 - _OPEN) + anywhere)
        ends = np.where(self.last == items - 1, log(_OPEN), log(1.0 - _OPEN) + anywhere)
        begins, ends = np.where(drifts, begins, anywhere), np.where(self.back, anywhere, ends)
        places = np.where(step, -log(items), begins + ends)
        return np.asarray(many + np.where(self.is_cause(*LONE), 0.0, places))

    @cached_property
    def widths(self) -> Floats:
        """Standard deviation of each one's size, beforehand."""
        return widths_of(self.seen)[self.cause]

    @cached_property
    def own(self) -> Floats:
        """Sums of the squares of the columns, over the observations' uncertainty."""
        out = np.zeros(len(self))
        for cause in np.unique(self.cause).tolist():
            squares = (self.seen.response[:, cause] / self.seen.u) ** 2
            until = np.concatenate(([0.0], np.cumsum(squares)))
            here = self.cause == cause
            end = self._end[here]
            out[here] = np.where(self.back[here], 0.0, until[-1] - until[end]) + until[end] - until[self._begin[here]]
            for power in range(1, int(self.power[here].max()) + 1):
                those = np.flatnonzero(here & (self.power == power))
                firsts, place = np.unique(self.first[those], return_inverse=True)
                # From where each begins, for differences of such high powers would be lost in rounding.
                since = np.maximum(self._times - self._item_times[firsts, None], 0.0) ** (2 * power)
                inside = _sums(squares * since)[place, self._end[those]] / self._span[those] ** (2 * power)
                out[those] += inside - (until[self._end[those]] - until[self._begin[those]])
        return out

    @cached_property
    def along(self) -> Floats:
        """What each column has in common with what was seen, both over the observations' uncertainty."""
        return np.asarray(self.onto((self.seen.y / self.seen.u)[None])[0])

    def onto(self, rows: Floats) -> Floats:
        """Products of rows (q, n) with the columns over the observations' uncertainty, (q, m)."""
        out = np.zeros((len(rows), len(self)))
        for cause in np.unique(self.cause).tolist():
            here = np.flatnonzero(self.cause == cause)
            part = rows * (self.seen.response[:, cause] / self.seen.u)
            begin, end, power = self._begin[here], self._end[here], self.power[here]
            sums = [_sums(part * self._times**order) for order in range(int(power.max()) + 1)]
            total = np.where(self.back[here], 0.0, sums[0][:, -1:] - sums[0][:, end])
            origin = -self._item_times[self.first[here]]
            for degree in range(int(power.max()) + 1):
                those = power == degree
                a, b, scale = begin[those], end[those], self._span[here[those]] ** degree
                for order in range(degree + 1):
                    factor = comb(degree, order) * origin[those] ** (degree - order) / scale
                    total[:, those] += factor * (sums[order][:, b] - sums[order][:, a])
            out[:, here] = total
        return out

    @cached_property
    def _item_times(self) -> Floats:
        times = self.seen.in_use
        length = max(float(times[-1] - times[0]), 1e-9)
        return np.asarray((times - times[0]) / length - 0.5)

    @cached_property
    def _times(self) -> Floats:
        return self._item_times[self.seen.item]

    @cached_property
    def _span(self) -> Floats:
        return np.maximum(self._item_times[self.last] - self._item_times[self.first], 1e-12)

    @cached_property
    def _begin(self) -> Numbers:
        return np.searchsorted(self.seen.item, self.first)

    @cached_property
    def _end(self) -> Numbers:
        """Where the part ends that grows; what stays is behind it."""
        return np.searchsorted(self.seen.item, np.where((self.power == 0) & ~self.back, self.first, self.last + 1))


def _sums(rows: Floats) -> Floats:
    return np.concatenate([np.zeros((len(rows), 1)), np.cumsum(rows, axis=1)], axis=1)


def widths_of(seen: Observations) -> Floats:
    """Standard deviation of the size of each cause, beforehand; wider in a season that goes far beyond the usual."""
    return np.array([max(_WIDTHS[cause], seen.reach[cause] / _FAR) for cause in seen.causes])


def forms(cause: str) -> list[tuple[int, bool]]:
    """Forms of a cause other than a step: (power, back)."""
    every = [(power, back) for power in (0, 1, 2, 3) for back in (False, True) if power or back]
    curved = cause in FILLING
    return [(power, back) for power, back in every if (power > 0, back) in EXPECTED[cause] and (curved or power < 2)]


def fits(seen: Observations, change: Change) -> bool:
    """Whether there is enough on both sides of a change, and in it, to see it."""
    return len(Candidates.of(seen, [replace(change, power=min(change.power, 1))]).fitting()) > 0
