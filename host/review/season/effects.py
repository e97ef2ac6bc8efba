"""How large each change found is, with its uncertainty: measured beside one another, all at once."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from host.calibrate.uncertainty import LEVEL_OF_CONFIDENCE, student_factor
from host.pipeline.columns import Floats
from host.review.season.changes import ZERO, Change, shapes
from host.review.season.observations import BOOM
from host.review.season.search import Explained, fits

# What is averaged over: how many runs sooner or later a change may have begun, how a filling may have been curved.
_NEAR = (-1, 0, 1)
_FAR = (-6, -4, -2, -1, 0, 1, 2, 4, 6)
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

    So new tips need not be the old ones, nor a strainer quite clean. Where a change began, and how curved it came, is
    not known either: sizes are means over what is about as likely, and that counts in their uncertainty (Gelman et al.,
    Bayesian Data Analysis, section 7.6, model averaging).
    """
    out: list[Effect] = []
    for at, change in enumerate(found.changes):
        variants = _variants(found, at)
        scores = np.array([found.score(variant) for variant in variants])
        weights = np.exp(scores - np.logaddexp.reduce(scores))
        sizes, variances = (np.array(rows) for rows in zip(*(_sizes(found, one, at) for one in variants), strict=True))
        means = weights @ sizes
        spreads = weights @ (variances + (sizes - means) ** 2)
        out += [
            Effect(part, change, float(size), math.sqrt(float(spread)))
            for part, size, spread in zip(_parts(change), means, spreads, strict=True)
            if all(part != other.change for other in out)
        ]
    return out


def _parts(change: Change) -> list[Change]:
    if change.power and change.back:
        return [replace(change, back=False), Change(change.cause, change.last + 1, change.last + 1)]
    return [change]


def _variants(found: Explained, at: int) -> list[list[Change]]:
    """The changes found, and with one of them begun some runs sooner or later, or coming otherwise curved."""
    own = found.changes[at]
    others = [one for one in found.changes if one != own]
    filling = own.power > 1 or (own.power > 0 and own.back)
    ones = [own]
    for power, by in itertools.product(_CURVES if filling else (own.power,), _FAR if filling else _NEAR):
        first = own.first + by
        last = first if own.step else own.last
        one = replace(own, power=power, first=first, last=last)
        if not own.lone and one not in (*found.changes, *ones) and fits(found.seen, one):
            ones.append(one)
    return [[*others[:at], one, *others[at:]] for one in ones]


def _sizes(found: Explained, changes: Sequence[Change], at: int) -> tuple[Floats, Floats]:
    """Sizes of the parts of one of these changes, and their variances."""
    every = list(dict.fromkeys(part for change in changes for part in _parts(change)))
    size, covariance = found.model(every).sizes()
    own = len(size) - len(every)
    degrees = max(len(found.seen.y) - len(size), 2)
    # What is expanded by two later is to hold for 95 %, with the scatter estimated.
    wider = student_factor(LEVEL_OF_CONFIDENCE, degrees) / 1.96
    places = [own + every.index(part) for part in _parts(changes[at])]
    return size[places], wider**2 * np.diag(covariance)[places]


def level(found: Explained, effects: Sequence[Effect], block: int) -> Floats:
    """What the changes that last make of one series at each item, (items,), at its usual pressure, as a logarithm."""
    response = usual_response(found, block)
    lasting = [one for one in effects if not one.change.lone]
    if not lasting:
        return np.zeros(len(found.seen.times))
    weights = np.array([one.size * response[found.seen.causes.index(one.change.cause)] for one in lasting])
    return np.asarray(shapes([one.change for one in lasting], found.seen.times) @ weights)


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
