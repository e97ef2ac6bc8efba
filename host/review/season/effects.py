"""How large each change found is, with its uncertainty: measured beside one another, all at once."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from host.calibrate.uncertainty import LEVEL_OF_CONFIDENCE, student_factor
from host.pipeline.columns import Floats
from host.review.season.candidates import fits
from host.review.season.changes import NOZZLES, ZERO, Change, shapes
from host.review.season.observations import BOOM
from host.review.season.search import Explained

# What is averaged over: how many runs sooner or later a change may have begun or ended, and how curved a filling came.
_NEAR = (0, -1, 1)
_FAR = (0, -6, -4, -2, -1, 1, 2, 4, 6)
_CURVES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0)


@dataclass(frozen=True)
class Effect:
    """A change as it is measured, the one found that it is part of, its size (a logarithm; transducer: kPa) and u."""

    change: Change
    of: Change
    size: float
    u: float


def measured(found: Explained) -> list[Effect]:
    """What was found, measured: something that came little by little and was gone at once is two changes of two sizes.

    So new tips need not be the old ones, nor a strainer quite clean. Wear ends where the tips change, and what wears
    from there on is another set of tips with a size of its own, though both may be one line. Where a change began, and
    how curved it came, is not known either, and what one of them takes another one lacks: sizes are means over what is
    about as likely, of each change in turn, and that counts in their uncertainty (Gelman et al., Bayesian Data
    Analysis, section 7.6, model averaging).
    """
    if not found.changes:
        return []
    size, variance = _sizes(found, found.changes)
    mean, spread = size, variance
    for at in range(len(found.changes)):
        variants = [one for one in _variants(found, at) if len(_parts(found, one)) == len(size)]
        if len(variants) < 2:
            continue
        scores = np.array([found.score(variant) for variant in variants])
        weights = np.exp(scores - np.logaddexp.reduce(scores))
        sizes, variances = (np.array(rows) for rows in zip(*(_sizes(found, one) for one in variants), strict=True))
        means = weights @ sizes
        mean = mean + means - size
        spread = spread + weights @ (variances + (sizes - means) ** 2) - variance
    out: dict[Change, Effect] = {}
    parts = _parts(found, found.changes)
    # What is expanded by two later is to hold for 95 %, with the scatter estimated.
    degrees = max(len(found.seen.y) - len(found.seen.widths) - len(parts), 2)
    wider = student_factor(LEVEL_OF_CONFIDENCE, degrees) / 1.96
    for (part, change), one, squared in zip(parts, mean, np.maximum(spread, variance), strict=True):
        u = wider * math.sqrt(float(squared))
        # That a set of tips wore is not known from how another one did.
        if part.step or (part.first, part.last) == (change.first, change.last) or abs(one) > 2.0 * u:
            out.setdefault(part, Effect(part, change, float(one), u))
    return list(out.values())


def _parts(found: Explained, changes: Sequence[Change]) -> list[tuple[Change, Change]]:
    """What is measured of each of these changes, with the change that it is part of."""
    new_tips = {one.first for one in changes if one.cause == NOZZLES and one.step}
    new_tips |= {one.last + 1 for one in changes if one.cause == NOZZLES and one.power == 1 and one.back}
    parts = []
    for change in changes:
        whole = replace(change, back=change.back and not change.power)
        ends = sorted(at for at in new_tips if change.first < at <= change.last)
        sets = [whole]
        if change.cause == NOZZLES and change.power == 1 and ends:
            edges = [change.first, *ends, change.last + 1]
            wears = [replace(whole, first=first, last=end - 1) for first, end in itertools.pairwise(edges)]
            sets = [one for one in wears if fits(found.seen, one)] or sets
        if change.power and change.back:
            sets.append(Change(change.cause, change.last + 1, change.last + 1))
        parts += [(one, change) for one in sets]
    return parts


def _variants(found: Explained, at: int) -> list[list[Change]]:
    """The changes found, then the same with one begun or ended some runs sooner or later, or otherwise curved."""
    own, end = found.changes[at], len(found.seen.times) - 1
    filling = own.power > 1 or (own.power > 0 and own.back)
    ends = _FAR if own.power and not own.back and own.last < end else (0,)
    ones = [own]
    for power, by, later in itertools.product(_CURVES if filling else (own.power,), _FAR if own.power else _NEAR, ends):
        first = own.first + by
        one = replace(own, power=power, first=first, last=first if own.step else own.last + later)
        if not own.lone and one not in (*found.changes, *ones) and fits(found.seen, one):
            ones.append(one)
    return [[*found.changes[:at], one, *found.changes[at + 1 :]] for one in ones]


def _sizes(found: Explained, changes: Sequence[Change]) -> tuple[Floats, Floats]:
    """Sizes of the parts of all of these changes, and their variances."""
    parts = [part for part, _ in _parts(found, changes)]
    every = list(dict.fromkeys(parts))
    size, covariance = found.model(every).sizes()
    own = len(size) - len(every)
    places = [own + every.index(part) for part in parts]
    return size[places], np.diag(covariance)[places]


def level(found: Explained, effects: Sequence[Effect], block: int) -> Floats:
    """What the changes that last make of one series at each item, (items,), at its usual pressure, as a logarithm."""
    response = usual_response(found, block)
    lasting = [one for one in effects if not one.change.lone]
    if not lasting:
        return np.zeros(len(found.seen.times))
    weights = np.array([one.size * response[found.seen.causes.index(one.change.cause)] for one in lasting])
    return np.asarray(shapes([one.change for one in lasting], found.seen.in_use) @ weights)


def usual_response(found: Explained, block: int) -> Floats:
    """What one unit of each cause does to a series at its usual pressure, (causes,)."""
    here = found.seen.response[found.seen.block == block]
    return np.median(here, axis=0) if len(here) else np.zeros(len(found.seen.causes))


def of_flow(found: Explained, effect: Effect) -> tuple[float, float]:
    """Size and u of an effect in the flow at the usual pressure, as logarithms."""
    if effect.change.cause != ZERO:
        return effect.size, effect.u
    response = float(usual_response(found, BOOM)[found.seen.causes.index(ZERO)])
    return effect.size * response, effect.u * abs(response)
