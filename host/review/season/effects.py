"""How large each change found is, with its uncertainty: measured beside one another, all at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from host.calibrate.uncertainty import LEVEL_OF_CONFIDENCE, student_factor
from host.pipeline.columns import Floats
from host.review.season.changes import ZERO, Change, shapes
from host.review.season.observations import BOOM
from host.review.season.search import Explained


@dataclass(frozen=True)
class Effect:
    """A change as it is measured, the one found that it is part of, its size (a logarithm; transducer: kPa) and u."""

    change: Change
    of: Change
    size: float
    u: float


def measured(found: Explained) -> list[Effect]:
    """What was found, measured: something that came little by little and was gone at once is two changes of two sizes.

    So new tips need not be the old ones, nor a strainer quite clean.
    """
    parts: dict[Change, Change] = {}
    for change in found.changes:
        if change.power and change.back:
            parts.setdefault(replace(change, back=False), change)
            parts.setdefault(Change(change.cause, change.last + 1, change.last + 1), change)
        else:
            parts[change] = change
    changes = list(parts)
    size, covariance = found.model(changes).sizes()
    own = len(size) - len(changes)
    degrees = max(len(found.seen.y) - len(size), 2)
    # What is expanded by two later is to hold for 95 %, with the scatter estimated.
    wider = student_factor(LEVEL_OF_CONFIDENCE, degrees) / 1.96
    return [
        Effect(change, parts[change], float(size[at]), wider * math.sqrt(float(covariance[at, at])))
        for at, change in enumerate(changes, start=own)
    ]


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
