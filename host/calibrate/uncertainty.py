"""Uncertainty after the GUM (JCGM 100:2008): components, their combination, the expanded uncertainty.

Standard deviations, distributions and the Student factor are the few lines of it that a calibration at the sprayer
needs; the tests hold them against SciPy, the uncertainties package and the Guide's own examples.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, replace

LEVEL_OF_CONFIDENCE = 0.95
# What is assumed of a scatter is good to about a third of itself: ν ≈ 1/2·(Δu/u)⁻² with Δu/u = 0.35, GUM G.4.2.
ASSUMED_DEGREES = 4.0
_HAIR = 0.05  # degrees of freedom are never known to a tenth: 18.99 counts as 19 when it is cut to a whole number


@dataclass(frozen=True)
class Component:
    """One source of uncertainty: `standard` in the unit of the result (sensitivity already applied).

    `shared` names the error behind it. Components of one name are one error, so they add with their signs; those
    without a name are independent of all others. `even` says that all values within its limits are alike likely
    (rectangular, GUM 4.3.7), as of a tool that is right to so much. `least` is what no care makes smaller: of one more
    pass its own scatter, however well that is known. `seen` is how much of `standard` the readings themselves show
    (repeats, GUM 4.2; their steps); the rest of it is told or assumed.
    """

    name: str
    standard: float
    degrees: float = math.inf
    shared: str = ""
    even: bool = False
    least: float = 0.0
    seen: float = 0.0


@dataclass(frozen=True)
class Combined:
    """The combined uncertainty of a result and what it is made of. `expanded` is coverage × standard."""

    components: tuple[Component, ...]
    standard: float
    degrees: float
    coverage: float
    expanded: float

    @property
    def carried(self) -> float:
        """Half the expanded one: what a rig carries on as a standard uncertainty.

        Twice it is the ± again, so that few degrees of freedom are not forgotten where they are not known any more.
        """
        return self.expanded / 2.0

    @property
    def largest(self) -> Component:
        """The component to improve first."""
        return max(self.components, key=lambda part: abs(part.standard))

    def measured(self, parts: Container[str]) -> Combined:
        """The same result if of the parts with these names all that counts were what was seen, and that for sure."""
        sure = (replace(part, standard=part.seen, degrees=math.inf) for part in self.components)
        return combine(new if new.name in parts else part for part, new in zip(self.components, sure, strict=True))

    def without(self, component: Component) -> Combined:
        """The same result if that component were as small as it can be made."""
        rest = [part for part in self.components if part is not component]
        return combine([*rest, Component(component.name, component.least)] if component.least else rest)


def rectangular(half_width: float) -> float:
    """Standard uncertainty of "within ± half_width": a/√3 (GUM 4.3.7)."""
    return half_width / math.sqrt(3.0)


def triangular(half_width: float) -> float:
    """Standard uncertainty of "within ± half_width, the middle likelier": a/√6 (GUM 4.3.9)."""
    return half_width / math.sqrt(6.0)


def resolution(step: float) -> float:
    """Standard uncertainty of a reading to the nearest step: δ/√12 (GUM F.2.2.1)."""
    return step / math.sqrt(12.0)


def sample_deviation(values: Sequence[float]) -> float:
    """Experimental standard deviation s (GUM 4.2.2) of two or more values."""
    mean = math.fsum(values) / len(values)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


def pooled(scatter: float, degrees: float, assumed: float) -> tuple[float, float]:
    """A standard deviation from repeats, pooled with what is assumed of such repeats (GUM 4.2.4).

    Gives the deviation and its degrees of freedom. The assumed one counts with `ASSUMED_DEGREES`: without repeats it
    stands alone, beside few it steadies them, and it fades as they grow many.
    """
    total = degrees + ASSUMED_DEGREES
    return math.sqrt((degrees * scatter**2 + ASSUMED_DEGREES * assumed**2) / total), total


def seen_of(scatter: float, degrees: float) -> float:
    """The part of what `pooled` gives that is from the repeats."""
    return math.sqrt(degrees / (degrees + ASSUMED_DEGREES)) * scatter


def restless_degrees(scatter: float, degrees: float, assumed: float) -> float:
    """Degrees of freedom of a scatter that is larger than the assumed one, pooled with it: Welch and Satterthwaite.

    The assumption steadies little what it is small beside (GUM G.4.1, of the two variances that `pooled` adds): as many
    as `pooled` gives where the two are equal, the repeats' own where theirs is many times as large.
    """
    own, taken = degrees * scatter**2, ASSUMED_DEGREES * assumed**2
    return (own + taken) ** 2 / (own**2 / degrees + taken**2 / ASSUMED_DEGREES)


def combine(components: Iterable[Component]) -> Combined:
    """Root sum of squares (GUM 5.1.2); what is shared adds first, with its signs (full correlation, GUM 5.2.2 note 1).

    The effective degrees of freedom are those of Welch and Satterthwaite (GUM G.4.1), and the coverage is Student's.
    Where one error is even, 1.96 times would be more than its limits: the largest such one is convolved with the rest,
    taken as normal (GUM G.1.3, JCGM 101:2008, 5.3).
    """
    parts = tuple(components)
    groups: dict[object, list[Component]] = {}
    for number, part in enumerate(parts):
        groups.setdefault(part.shared or number, []).append(part)
    errors = [_Error(*_added(same)) for same in groups.values()]
    standard, degrees = _welch(errors)
    even = max((error for error in errors if error.even), key=lambda error: error.size, default=None)
    if even is None or even.size == 0.0:
        coverage = _student(degrees)
        return Combined(parts, standard, degrees, coverage, coverage * standard)
    rest, rest_degrees = _welch([error for error in errors if error is not even])
    expanded = _even_and_normal(even.size * math.sqrt(3.0), rest * _student(rest_degrees) / _student(math.inf))
    return Combined(parts, standard, degrees, expanded / standard, expanded)


@dataclass(frozen=True)
class _Error:
    """One error of those that are independent of each other."""

    size: float
    degrees: float
    even: bool


def _added(same: Sequence[Component]) -> tuple[float, float, bool]:
    size = abs(math.fsum(part.standard for part in same))
    return size, min(part.degrees for part in same), all(part.even for part in same)


def _welch(errors: Sequence[_Error]) -> tuple[float, float]:
    """Standard uncertainty and effective degrees of freedom."""
    standard = math.sqrt(math.fsum(error.size**2 for error in errors))
    shares = math.fsum(error.size**4 / error.degrees for error in errors)
    return standard, standard**4 / shares if shares > 0 else math.inf


def _student(degrees: float) -> float:
    # A point is only known to have one degree of freedom at the least, whatever rounding says.
    return student_factor(LEVEL_OF_CONFIDENCE, max(degrees + _HAIR, 1.0))


def _even_and_normal(limit: float, normal: float) -> float:
    """Half-width that holds 95 % of the sum of an error that is even within ± `limit` and a normal one (standard)."""
    if normal < 1e-6 * limit:
        return LEVEL_OF_CONFIDENCE * limit
    if limit < 1e-4 * normal:  # the difference below would be lost in rounding
        return _student(math.inf) * normal

    def below(z: float) -> float:
        """The integral of the normal distribution up to z."""
        return z * 0.5 * (1.0 + math.erf(z / math.sqrt(2.0))) + math.exp(-z * z / 2.0) / math.sqrt(2.0 * math.pi)

    low, high = 0.0, limit + 6.0 * normal
    for _ in range(60):
        middle = (low + high) / 2.0
        held = (below((middle + limit) / normal) - below((middle - limit) / normal)) * normal / limit - 1.0
        low, high = (middle, high) if held < LEVEL_OF_CONFIDENCE else (low, middle)
    return high


def student_factor(level: float, degrees: float) -> float:
    """Two-sided Student factor t for a level of confidence.

    Degrees of freedom are cut to a whole number as GUM G.6.4 says; beyond 1000 they count as infinite.
    """
    target = (1.0 + level) / 2.0
    low, high = 0.0, 1.0
    while _student_cumulative(high, degrees) < target:
        high *= 2.0
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _student_cumulative(middle, degrees) < target else (low, middle)
    return (low + high) / 2.0


def _student_cumulative(t: float, degrees: float) -> float:
    """P(T ≤ t) for t ≥ 0: the finite sums of Abramowitz & Stegun, 26.7.3 and 26.7.4; normal beyond 1000 degrees."""
    if degrees > 1000:
        return 0.5 * (1.0 + math.erf(t / math.sqrt(2.0)))
    whole = int(degrees)
    angle = math.atan2(t, math.sqrt(whole))
    cos, sin = math.cos(angle), math.sin(angle)
    total = term = cos if whole % 2 else 1.0
    for step in range(3 if whole % 2 else 2, whole - 1, 2):
        term *= cos * cos * (step - 1) / step
        total += term
    if whole % 2 == 0:
        return 0.5 + 0.5 * sin * total
    return 0.5 + (angle + (sin * total if whole > 1 else 0.0)) / math.pi
