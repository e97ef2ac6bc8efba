"""Which changes explain a season best: the most likely set of them, grown one at a time and mended as it grows.

A change is taken when it makes all that was seen `_TAKEN` times as likely, after what it is worth beforehand and after
all the places where it might have been found by chance. When one is taken the others are looked at again.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from host.pipeline.columns import Floats
from host.review.season.candidates import LEAST_BESIDE, Candidates, forms, widths_of
from host.review.season.changes import (
    KNOB,
    LONE,
    LONE_BOOM,
    LONE_TANK,
    METER,
    NOZZLES,
    OF_THEIR_OWN,
    STRAINER,
    WRONG_CARD,
    ZERO,
    Change,
    shapes,
)
from host.review.season.linear_model import LinearModel
from host.review.season.observations import BALANCE, BOOM, CARDS, Observations, with_scatter

_TAKEN = math.log(10.0)
_MOST = 16
_ROUNDS = 4
# Places where gradual changes and steps are looked for at first; near those found every run is tried.
_GRID, _GRID_OF_MANY = 30, 20
_MOST_STEPS = 100
_REACH = 3
_SHOWN_IN = {LONE_BOOM: (BOOM,), LONE_TANK: (BALANCE,), WRONG_CARD: CARDS}


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

    def score(self, changes: Sequence[Change]) -> float:
        """Logarithm of how likely it is that these happened and made what was seen."""
        return self.model(changes).evidence + math.fsum(Candidates.of(self.seen, changes).worth.tolist())

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
    """Standard deviation of each one's size, beforehand."""
    return widths_of(seen)[[seen.causes.index(change.cause) for change in changes]]


# How far a season may wander, and how likely that is beforehand.
_WANDERS = ((0.0, 0.6), (0.0025, 0.3), (0.005, 0.1))


def explain(seen: Observations) -> Explained:
    """The most likely changes; none for a season too short to show any."""
    if not len(seen.y):
        return Explained(seen, (), 0.0)
    pool = candidates(seen)
    first = _best_wander(with_scatter(seen, None, 0.0), pool)
    if not first.changes:
        return first
    used = len(seen.widths) + len(first.changes)
    again = with_scatter(seen, first.residuals(), used)
    return _best_wander(again, pool, first.changes)


def _best_wander(seen: Observations, pool: Candidates, start: Sequence[Change] = ()) -> Explained:
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


def _gains(state: Explained, changes: Sequence[Change], further: Candidates) -> Floats:
    """How much likelier each further change would make the whole, beside these changes."""
    gain, size = state.model(changes).gains(further)
    # Nothing fills up that flows more, and only an even rise (wear) ends at once (new tips); nothing happens twice.
    falls = (further.power >= 2) | further.is_cause(STRAINER) | (further.back & further.is_cause(KNOB))
    return np.where((falls & (size > 0)) | further.same(changes), -np.inf, gain + further.worth)


def _search(state: Explained, pool: Candidates) -> Explained:
    changes = list(state.changes)
    for _ in range(_MOST):
        gain = _gains(state, changes, pool)
        best = int(np.argmax(gain)) if len(gain) else 0
        if len(gain) and gain[best] > _TAKEN:
            changes = _mended(state, [*changes, pool.change(best)])
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
    still = 0  # how many in a row stay where they are
    for at in itertools.islice(itertools.cycle(range(len(changes))), _ROUNDS * len(changes)):
        change, others = changes[at], changes[:at] + changes[at + 1 :]
        still += 1
        if not change.lone:
            near = _near(state.seen, change, changes)
            gain = np.where(_overlaps(near, others), -np.inf, _gains(state, others, near))
            best = near.change(int(np.argmax(gain)))
            if best != change and gain.max() > gain[0] + 1e-6:
                changes, still = [*changes[:at], best, *changes[at + 1 :]], 1
        if still >= len(changes):
            break
    return changes


def _gone_on(state: Explained, pool: Candidates, changes: list[Change]) -> list[Change]:
    """With a drift that went on to the end while something of another cause began to hide it, if that explains more."""
    score, end = state.score(changes), len(state.seen.times) - 1
    for at, change in enumerate(changes):
        longer = [*changes[:at], replace(change, last=end), *changes[at + 1 :]]
        if change.power != 1 or change.back or change.last == end or len(set(longer)) < len(longer):
            continue
        gain = _gains(state, longer, pool)
        for cause in (NOZZLES, METER, ZERO):
            here = pool.is_cause(cause) & np.isfinite(gain)
            if cause == change.cause or not here.any():
                continue
            further = pool.change(int(np.argmax(np.where(here, gain, -np.inf))))
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


def _near(seen: Observations, change: Change, changes: Sequence[Change]) -> Candidates:
    """The change itself, then those that begin or end near it, or where others do."""
    items = len(seen.times)
    edges = {edge for one in changes if one.step for edge in (one.first - 1, one.first)} | {0, items - 1}
    edges |= {edge for one in changes if one.power and one.back for edge in (one.first - 1, one.last + 1)}
    reach = range(-_REACH, _REACH + 1)
    firsts = np.array(sorted({change.first + by for by in reach} | edges), dtype=np.intp)
    lasts = np.array(sorted({change.last + by for by in reach} | edges), dtype=np.intp)
    causes = [cause for cause in seen.causes if cause not in LONE]
    parts = [Candidates.grid(seen, cause, [(0, False)], firsts, lasts) for cause in causes]
    parts += [Candidates.grid(seen, cause, forms(cause), firsts, lasts) for cause in causes]
    found = Candidates.joined(parts).fitting()
    return Candidates.joined([Candidates.of(seen, [change]), found.taken(~found.same([change]))])


def candidates(seen: Observations) -> Candidates:
    """Changes to look for: lone ones everywhere, steps nearly so, gradual ones on a grid and to the greatest leaps."""
    items = len(seen.times)
    every = np.arange(1, items, max(items // _MOST_STEPS, 1))
    places = min(items, _GRID if items <= _MOST_STEPS else _GRID_OF_MANY)
    grid = np.unique(np.linspace(0, items - 1, places).round().astype(np.intp))
    ends = np.array(_leaps(seen), dtype=np.intp)
    found = []
    for cause in seen.causes:
        if cause in LONE:
            where = np.unique(seen.item[np.isin(seen.block, _SHOWN_IN[cause])])
            found.append(Candidates.of(seen, [Change(cause, at, at, 0, True) for at in where.tolist()]))
            continue
        found.append(Candidates.grid(seen, cause, [(0, False)], every, every))
        for power, back in forms(cause):
            if power > 2:  # how curved it is, is tried where one is found
                continue
            lasts = ends if back else grid[-1:] if power == 2 else grid
            found.append(Candidates.grid(seen, cause, [(power, back)], grid, lasts))
    return Candidates.joined(found).fitting()


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


def _overlaps(near: Candidates, others: Sequence[Change]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which fill up while another of the others does: what fills up is cleaned before it fills up again."""
    out = np.zeros(len(near), dtype=np.bool_)
    for one in others:
        if one.power and one.back:
            out |= near.is_cause(one.cause) & (near.first <= one.last) & (near.last >= one.first)
    return out & (near.power > 0) & near.back
