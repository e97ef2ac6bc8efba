"""The boom's orifice coefficient pass by pass, against what was expected of it: which pass it changed in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from host.review.review import Review
from host.review.steady import steady_of


@dataclass(frozen=True)
class PassRatio:
    """One pass: its mean pressure and flow while steady, and its coefficient over the one expected at that pressure."""

    number: int
    pressure_pa: float
    flow_m3_s: float
    ratio: float


def ratios_by_pass(review: Review, expected: Callable[[float], float]) -> list[PassRatio]:
    """The passes that have five seconds of steady spraying; `expected(pressure_pa)` is a coefficient, m³/s/√Pa."""
    ratios = []
    for one in review.passes:
        steady = steady_of(review.track, [one], review.rig)
        if steady is not None:
            ratio = steady.coefficient / expected(steady.pressure_pa)
            ratios.append(PassRatio(one.number, steady.pressure_pa, steady.flow_m3_s, ratio))
    return ratios
