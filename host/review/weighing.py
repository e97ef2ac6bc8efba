"""Whose a step is: meter or nozzles, each by how likely it makes the tank balances on both sides of it.

The meter moves the balance as it moves the boom's coefficient, the nozzles do not. Scatter that is estimated counts by
Student's t (Gelman et al., Bayesian Data Analysis, section 3.2); both are taken as equally likely beforehand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from host.documents.words import percent, plural
from host.pipeline.columns import Floats
from host.review.trend import scatter_of

NAMED_AT = 20.0  # odds; less is said as two that cannot be told apart
_MOST_ODDS = 1000.0  # nothing that is assumed here is surer
_LEAST_SCATTER = 0.003  # a meter wanders by so much from day to day
_MOST_MORE = 60
_FAR = 3.5  # so many standard uncertainties tell two explanations apart at the odds asked for


@dataclass(frozen=True)
class Weighed:
    """Odds of the meter against the nozzles, and what would decide where they are not far from even."""

    odds: float
    decides: str

    @property
    def meter(self) -> bool:
        """Whether it is the meter, at the odds asked for."""
        return self.odds >= NAMED_AT

    @property
    def nozzles(self) -> bool:
        """Whether it is the nozzles, at the odds asked for."""
        return self.odds <= 1.0 / NAMED_AT

    @property
    def words(self) -> str:
        """As people say odds: "meter, 200 : 1"."""
        cause, odds = ("meter", self.odds) if self.odds >= 1.0 else ("nozzles", 1.0 / max(self.odds, 1e-9))
        if odds < 1.5:
            return "meter or nozzles, even odds"
        return f"{cause}, {f'{odds:.0f}' if odds < _MOST_ODDS else f'more than {_MOST_ODDS:.0f}'} : 1"


def weigh_step(size: float, size_u: float, before: Floats, after: Floats) -> Weighed:
    """A step of the logarithm by `size`, against the logarithms of the balances on both sides of it, in their order."""
    counts = len(before), len(after)
    if sum(counts) < 4 or min(counts) < 1:
        return Weighed(1.0, "a catch test")
    degrees = max((sum(counts) - 2) / 2.0, 1.0)  # the scatter by its median is worth half of its points
    pooled = [scatter_of(side) ** 2 * (len(side) - 1) for side in (before, after)]
    scatter = max(math.sqrt(math.fsum(pooled) / max(sum(counts) - 2, 1)), _LEAST_SCATTER)
    moved = float(after.mean() - before.mean())
    u = scatter * math.sqrt(1.0 / counts[0] + 1.0 / counts[1])
    odds = math.exp(_student(moved - size, math.hypot(u, size_u), degrees) - _student(moved, u, degrees))
    return Weighed(odds, _decides(size, scatter, *counts))


def _student(apart: float, u: float, degrees: float) -> float:
    """Logarithm of Student's t density of something `apart` from what is expected; u is its standard uncertainty."""
    return -0.5 * (degrees + 1.0) * math.log1p((apart / u) ** 2 / degrees) - math.log(u)


def _decides(size: float, scatter: float, before: int, after: int) -> str:
    """How many more balances would tell meter from nozzles; a catch test where they never would."""
    wanted = (size / (_FAR * scatter)) ** 2 - 1.0 / before  # of 1/after
    more = math.ceil(1.0 / wanted) - after if wanted > 0 else 0
    if 0 < more <= _MOST_MORE:
        return f'{plural(more, "more balance")} ("tank left") that scatter by {percent(scatter, 1)}, or a catch test'
    return "a catch test"
