"""Which changes explain a season best: the most likely set of them, grown one at a time and mended as it grows.

A change is taken when it makes all that was seen `_TAKEN` times as likely, after what it is worth beforehand and after
all the places where it might have been found by chance. When one is taken the others are looked at again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from host.pipeline.columns import Floats
from host.review.season.changes import (
    FILLING,
    KNOB,
    LONE_BOOM,
    LONE_TANK,
    METER,
    NOZZLES,
    OF_THEIR_OWN,
    STRAINER,
    TANK,
    WHEEL,
    ZERO,
    Change,
    shapes,
)
from host.review.season.linear_model import Candidates, LinearModel
from host.review.season.observations import BALANCE, BOOM, Observations, with_scatter

_TAKEN = math.log(10.0)
_MOST = 16
LEAST_BESIDE = 3  # runs on either side of a change
# Places where gradual changes and steps are looked for at first; near those found every run is tried.
_GRID, _GRID_OF_MANY = 30, 20
_MOST_STEPS = 100
_REACH = 3
# Standard deviation of what each cause does, beforehand: logarithms, transducer in kPa.
_WIDTHS = {
    NOZZLES: 0.08,
    METER: 0.05,
    ZERO: 12.0,
    TANK: 0.05,
    LONE_BOOM: 0.12,
    LONE_TANK: 0.4,
    KNOB: 0.5,
    STRAINER: 0.5,
    WHEEL: 0.03,
}
_FAR = 3.0  # a change is seldom so many standard deviations large
# How many of a kind a season has beforehand (lone ones: per run), by (power > 0, back).
_EXPECTED = {
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
}

_RARE = 0.003  # what is not looked for, only weighed


def expected(change: Change, items: int) -> float:
    """Logarithm of how likely this very change is beforehand."""
    many = math.log(_EXPECTED[change.cause].get((change.power > 0, change.back), _RARE))
    if change.lone:
        return many
    if change.step:
        return many - math.log(items)
    if not change.back and change.power == 1 and change.first == 0 and change.last == items - 1:
        return many - math.log(2.0)
    return many - math.log(2.0) - 2.0 * math.log(items / 4.0 + 1.0)


@dataclass(frozen=True)
class Explained:
    """The changes found, and the model they make with what may be off all season."""

    seen: Observations
    changes: tuple[Change, ...]
    wander: float

    def columns(self, changes: Sequence[Change]) -> Floats:
        """What each change does to each observation, (n, changes), over the observations' uncertainty."""
        return effects_of(changes, self.seen) / self.seen.u[:, None]

    def model(self, changes: Sequence[Change]) -> LinearModel:
        """What may be off all season together with these changes."""
        off, wide = self._off
        columns = np.hstack([off, self.columns(changes)])
        return LinearModel(self.seen.y / self.seen.u, columns, np.concatenate([wide, widths(changes, self.seen)]))

    @cached_property
    def _off(self) -> tuple[Floats, Floats]:
        seen = self.seen
        if self.wander == 0.0:
            return seen.nuisances / seen.u[:, None], seen.widths
        waves, wide = seen.waves
        return np.hstack([seen.nuisances, waves]) / seen.u[:, None], np.concatenate([seen.widths, wide * self.wander])

    def candidates(self, changes: Sequence[Change]) -> Candidates:
        """These changes for `LinearModel.gains`."""
        seen = self.seen
        return Candidates.of(effects_of(changes, seen), widths(changes, seen), seen.y, seen.u)

    def score(self, changes: Sequence[Change]) -> float:
        """Logarithm of how likely it is that these happened and made what was seen."""
        items = len(self.seen.times)
        return self.model(changes).evidence + math.fsum(expected(change, items) for change in changes)

    def residuals(self) -> Floats:
        """What the changes leave, in the observations' own units."""
        size, _ = self.model(self.changes).sizes()
        return np.asarray(self.seen.y - np.hstack([self._off[0], self.columns(self.changes)]) @ size * self.seen.u)


def effects_of(changes: Sequence[Change], seen: Observations) -> Floats:
    """What each change does to each observation, (n, changes), for a size of one."""
    if not changes:
        return np.zeros((len(seen.y), 0))
    cause = [seen.causes.index(change.cause) for change in changes]
    return shapes(changes, seen.in_use)[seen.item] * seen.response[:, cause]


def widths(changes: Sequence[Change], seen: Observations) -> Floats:
    """Standard deviation of each one's size, beforehand; wider in a season that goes far beyond what is usual."""
    return np.array([max(_WIDTHS[change.cause], seen.reach[change.cause] / _FAR) for change in changes])


# How far a season may wander, and how likely that is beforehand.
_WANDERS = ((0.0, 0.6), (0.0025, 0.3), (0.005, 0.1))


def explain(seen: Observations) -> Explained:
    """The most likely changes; none for a season too short to show any."""
    if not len(seen.y):
        return Explained(seen, (), 0.0)
    pool = _Pool.of(seen)
    first = _best_wander(with_scatter(seen, None, 0.0), pool)
    if not first.changes:
        return first
    used = len(seen.widths) + len(first.changes)
    again = with_scatter(seen, first.residuals(), used)
    return _best_wander(again, pool, first.changes)


def _best_wander(seen: Observations, pool: _Pool, start: Sequence[Change] = ()) -> Explained:
    pool = pool.at(seen)
    best, best_score = Explained(seen, (), 0.0), -math.inf
    for wander, weight in _WANDERS[:1] if set(OF_THEIR_OWN) & set(seen.causes) else _WANDERS:
        found = _search(Explained(seen, tuple(start), wander), pool)
        score = found.score(found.changes) + math.log(weight)
        if score > best_score:
            best, best_score = found, score
        if not found.changes:  # whether it wanders matters only to what was found
            break
    return best


@dataclass(frozen=True)
class _Pool:
    """Candidates with all of them that does not depend on what has been found."""

    changes: list[Change]
    worth: Floats
    columns: Candidates

    @classmethod
    def of(cls, seen: Observations) -> _Pool:
        changes = candidates(seen)
        worth = np.array([expected(change, len(seen.times)) for change in changes])
        return cls(changes, worth, Candidates.of(effects_of(changes, seen), widths(changes, seen), seen.y, seen.u))

    @cached_property
    def places(self) -> dict[Change, int]:
        """Where each of the changes is."""
        return {change: at for at, change in enumerate(self.changes)}

    def at(self, seen: Observations) -> _Pool:
        """The same for another scatter."""
        return replace(self, columns=self.columns.over(seen.y, seen.u))


def _search(state: Explained, pool: _Pool) -> Explained:
    changes = list(state.changes)
    for _ in range(_MOST):
        gain, size = state.model(changes).gains(pool.columns)
        gain = gain + pool.worth + _allowed(pool.changes, size)
        gain[[pool.places[change] for change in changes if change in pool.places]] = -np.inf  # nothing happens twice
        best = int(np.argmax(gain)) if len(gain) else 0
        if len(gain) and gain[best] > _TAKEN:
            changes = _mended(state, [*changes, pool.changes[best]])
        else:
            other = _pruned(state, changes)
            if other == changes:
                other = _gone_on(state, pool, changes)
            if other == changes:
                break
            changes = other
    return replace(state, changes=tuple(sorted(changes, key=lambda change: (change.first, change.cause))))


def _mended(state: Explained, changes: list[Change]) -> list[Change]:
    """Each change in turn moved, or exchanged for one of its neighbours, while that makes the whole more likely."""
    items = len(state.seen.times)
    for _ in range(4):
        moved = False
        for at, change in enumerate(changes):
            if change.lone:
                continue
            others = changes[:at] + changes[at + 1 :]
            near = [one for one in _near(state.seen, change, changes) if one not in others]
            gain, size = state.model(others).gains(state.candidates(near))
            gain = gain + [expected(one, items) for one in near] + _allowed(near, size) + _apart(near, others)
            best = near[int(np.argmax(gain))]
            if best != change and gain.max() > gain[near.index(change)] + 1e-6:
                changes, moved = [*changes[:at], best, *changes[at + 1 :]], True
        if not moved:
            break
    return changes


def _gone_on(state: Explained, pool: _Pool, changes: list[Change]) -> list[Change]:
    """With a drift that went on to the end while something of another cause began to hide it, if that explains more."""
    score, end = state.score(changes), len(state.seen.times) - 1
    causes = np.array([change.cause for change in pool.changes])
    for at, change in enumerate(changes):
        longer = [*changes[:at], replace(change, last=end), *changes[at + 1 :]]
        if change.power != 1 or change.back or change.last == end or len(set(longer)) < len(longer):
            continue
        gain, size = state.model(longer).gains(pool.columns)
        gain = gain + pool.worth + _allowed(pool.changes, size)
        for cause in (NOZZLES, METER, ZERO):
            if cause == change.cause or cause not in causes:
                continue
            further = pool.changes[int(np.argmax(np.where(causes == cause, gain, -np.inf)))]
            if further in longer:
                continue
            both = _mended(state, [*longer, further])
            while (fewer := _pruned(state, both)) != both:
                both = fewer
            if state.score(both) > score + 1e-6:
                return both
    return changes


def _pruned(state: Explained, changes: list[Change]) -> list[Change]:
    """Without the changes that the others have made needless; two that one explains as well are one."""
    score = state.score(changes)
    for at in range(len(changes)):
        others = changes[:at] + changes[at + 1 :]
        if state.score(others) > score - _TAKEN:
            return others
    return changes


def _near(seen: Observations, change: Change, changes: Sequence[Change]) -> list[Change]:
    items = len(seen.times)
    edges = {edge for one in changes if one.step for edge in (one.first - 1, one.first)} | {0, items - 1}
    edges |= {edge for one in changes if one.power and one.back for edge in (one.first - 1, one.last + 1)}
    reach = range(-_REACH, _REACH + 1)
    firsts = sorted({change.first + by for by in reach} | edges)
    lasts = sorted({change.last + by for by in reach} | edges)
    causes = [cause for cause in seen.causes if cause not in (LONE_BOOM, LONE_TANK)]
    found = [Change(cause, first, first) for cause in causes for first in firsts]
    found += [
        Change(cause, first, last, power, back)
        for cause in causes
        for power, back in _forms(cause)
        for first in firsts
        for last in lasts
    ]
    return [change, *(one for one in found if one != change and fits(seen, one))]


def _forms(cause: str) -> list[tuple[int, bool]]:
    """Forms other than a step: (power, back)."""
    forms = [(power, back) for power in (0, 1, 2, 3) for back in (False, True) if power or back]
    curved = cause in FILLING
    return [(power, back) for power, back in forms if (power > 0, back) in _EXPECTED[cause] and (curved or power < 2)]


def candidates(seen: Observations) -> list[Change]:
    """Changes to look for: lone ones everywhere, steps nearly so, gradual ones on a grid and to the greatest leaps."""
    items = len(seen.times)
    every = range(1, items, max(items // _MOST_STEPS, 1))
    grid = sorted(
        {round(at) for at in np.linspace(0, items - 1, min(items, _GRID if items <= _MOST_STEPS else _GRID_OF_MANY))}
    )
    ends = _leaps(seen)
    found = []
    for cause in seen.causes:
        if cause in (LONE_BOOM, LONE_TANK):
            block = BALANCE if cause == LONE_TANK else BOOM
            found += [Change(cause, at, at, 0, True) for at in sorted(set(seen.item[seen.block == block].tolist()))]
            continue
        found += [Change(cause, at, at) for at in every]
        for power, back in _forms(cause):
            if power > 2:  # how curved it is, is tried where one is found
                continue
            lasts = ends if back else grid[-1:] if power == 2 else grid
            found += [Change(cause, first, last, power, back) for first in grid for last in lasts]
    return [change for change in found if change.lone or fits(seen, change)]


def _leaps(seen: Observations) -> list[int]:
    """Items behind which the boom (or the pressure) leaps most."""
    here = seen.block == BOOM
    y, item = seen.y[here], seen.item[here]
    if len(y) < 2 * LEAST_BESIDE:
        return []
    # Three runs from a place on against the two before it, at places 2, 3, …
    behind = np.median(np.lib.stride_tricks.sliding_window_view(y, 3)[2:], axis=1)
    before = np.lib.stride_tricks.sliding_window_view(y, 2)[: len(behind)].mean(axis=1)
    leap = np.abs(behind - before)
    greatest = np.argsort(leap)[::-1][:12] + 2
    return sorted({int(item[at - 1]) for at in greatest})


def fits(seen: Observations, change: Change) -> bool:
    """Whether there is enough on both sides of a change, and in it, to see it."""
    items = len(seen.times)
    if not 0 <= change.first <= change.last < items:
        return False
    block = BALANCE if change.cause == TANK else BOOM
    first, last = change.first, change.last
    before, behind = seen.on_both_sides(block, first)
    if change.step:
        return before >= LEAST_BESIDE and behind >= LEAST_BESIDE
    _, after = seen.on_both_sides(block, last + 1)
    inside = behind - after
    if change.power == 0:
        return before >= LEAST_BESIDE and after >= LEAST_BESIDE and inside >= 2
    return inside >= 2 * LEAST_BESIDE and (not change.back or after >= LEAST_BESIDE)


def _apart(changes: Sequence[Change], others: Sequence[Change]) -> Floats:
    """What fills up is cleaned before it fills up again."""
    filling = [one for one in others if one.power and one.back]
    return np.array(
        [
            -np.inf
            if change.power
            and change.back
            and any(
                one.cause == change.cause and one.first <= change.last and change.first <= one.last for one in filling
            )
            else 0.0
            for change in changes
        ]
    )


def _allowed(changes: Sequence[Change], size: Floats) -> Floats:
    """Nothing fills up that flows more, and only an even rise (wear) ends at once (new tips)."""
    falls = np.array(
        [change.power >= 2 or change.cause == STRAINER or (change.back and change.cause == KNOB) for change in changes],
        dtype=np.bool_,
    )
    return np.where(falls & (size > 0), -np.inf, 0.0)
