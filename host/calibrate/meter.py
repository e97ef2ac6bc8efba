"""Flow meter: catches and pulses -> meter factor, constant or over the pulse frequency, with its uncertainty.

Each catch gives K = pulses / volume. What differs from catch to catch (reading of the vessel, ± 1 pulse, the meter's
own repeatability) is averaged by weights; what all catches share (the scale of the vessel) is not. The repeatability
is the one that makes the scatter what it is (Paule & Mandel, J. Res. NBS 87 (1982) 377, the random-effects weighting);
beside few repeats an assumed one counts as well (GUM 4.2.4).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from host.calibrate.uncertainty import (
    ENOUGH_DEGREES,
    Combined,
    Component,
    combine,
    pooled,
    student_factor,
    triangular,
)
from host.calibrate.vessels import Vessel
from host.errors import UserError
from host.rig import Meter

# Repeatability (standard, as a fraction) that is assumed of a small turbine meter when no catch was repeated, and that
# counts beside few repeats: common practice.
ASSUMED_REPEATABILITY = 0.01
SAME_FLOW = 1.15  # catches whose pulse frequencies differ by less than this ratio count as repeats of one flow
CURVE_AT_LEAST = 0.002  # a bend smaller than this is not worth a curve
NOT_BELIEVABLE = 1.5  # factors that differ by more than this ratio do not come from one meter


@dataclass(frozen=True)
class MeterCatch:
    """One catch: pulses counted while `volume_m3` ran into the vessel in `duration_s` (None when not timed)."""

    pulses: int
    volume_m3: float
    vessel: Vessel
    duration_s: float | None = None

    @property
    def factor(self) -> float:
        """Pulses per m³."""
        return self.pulses / self.volume_m3

    @property
    def frequency_hz(self) -> float | None:
        """Mean pulse frequency, None when the catch was not timed."""
        return None if self.duration_s is None else self.pulses / self.duration_s

    def own_uncertainty(self) -> float:
        """Relative standard uncertainty that this catch shares with no other: reading step and ± 1 pulse."""
        return math.hypot(self.vessel.reading_uncertainty() / self.volume_m3, triangular(1.0) / self.pulses)


@dataclass(frozen=True)
class MeterCalibration:
    """The result. Uncertainties and residuals are fractions of the factor.

    `curve` as in host.rig.Meter; `residuals` one per catch against that curve (at the mean frequency where it was not
    timed); `outliers` are positions in the catches; `range_hz` is where it holds, None when nothing was timed;
    `remarks` say the rest in sentences.
    """

    curve: tuple[tuple[float, float], ...]
    uncertainty: Combined
    residuals: tuple[float, ...]
    outliers: tuple[int, ...]
    range_hz: tuple[float, float] | None
    remarks: tuple[str, ...]

    def meter(self) -> Meter:
        """The meter as the rig has it."""
        return Meter(self.curve, self.uncertainty.standard)


def calibrate_meter(catches: Sequence[MeterCatch]) -> MeterCalibration:
    """Fit the meter factor to one or more catches.

    A curve is taken only when the factors at different flows differ by more than their scatter explains (Student's
    test at 95 %, Bonferroni over the pairs) and by more than 0.2 %. Raises UserError when a catch cannot be one.
    """
    _check(catches)
    reference = sum(c.pulses for c in catches) / sum(c.volume_m3 for c in catches)
    everything = _Group(list(range(len(catches))))
    groups = _groups_by_flow(catches)
    split = _fit(catches, groups, reference) if len(groups) > 1 else None
    if split is not None and _differ(split):
        fit, is_curve = split, True
        curve = tuple(
            (group.frequency_hz(catches), level * reference) for group, level in zip(groups, fit.levels, strict=True)
        )
    else:
        fit, is_curve = _fit(catches, [everything], reference), False
        curve = ((everything.frequency_hz(catches), fit.levels[0] * reference),)
    meter = Meter(curve, 0.0)
    frequencies = [f for c in catches if (f := c.frequency_hz) is not None]
    middle = sum(frequencies) / len(frequencies) if frequencies else 0.0
    residuals = tuple(c.factor / float(meter.pulses_per_m3(c.frequency_hz or middle)) - 1.0 for c in catches)
    components = [fit.component(), *_scale_components(catches, fit)]
    if is_curve and (bend := _between_points(curve)):
        components.append(Component("between the points of the curve", bend))
    outliers = _outliers(catches, fit, reference)
    return MeterCalibration(
        curve=curve,
        uncertainty=combine(components),
        residuals=residuals,
        outliers=outliers,
        range_hz=(min(frequencies), max(frequencies)) if frequencies else None,
        remarks=tuple(_remarks(catches, fit, groups, is_curve, outliers)),
    )


def _check(catches: Sequence[MeterCatch]) -> None:
    if not catches:
        raise UserError("no catch was given: spray into a bucket while the board counts and give pulses and volume.")
    for number, c in enumerate(catches, start=1):
        if c.pulses < 1:
            raise UserError(
                f"catch {number} has {c.pulses} pulses: the meter did not turn; check its wiring and repeat."
            )
        if not (c.volume_m3 > 0 and math.isfinite(c.volume_m3)):
            raise UserError(f"catch {number} has no volume above zero: repeat it.")
        if c.duration_s is not None and not c.duration_s > 0:
            raise UserError(f"catch {number} has no time above zero: give its time or leave it out.")
        if c.vessel.reading_uncertainty() > 0.1 * c.volume_m3:
            raise UserError(f"catch {number} is smaller than what the {c.vessel.name} can show: catch more.")
    factors = [c.factor for c in catches]
    if max(factors) > NOT_BELIEVABLE * min(factors):
        low, high = (1 + factors.index(extreme(factors)) for extreme in (min, max))
        raise UserError(
            f"catches {low} and {high} differ {max(factors) / min(factors):.2g}-fold in pulses per volume: "
            "one of them is mistyped or went wrong; take it out or repeat it."
        )


@dataclass(frozen=True)
class _Group:
    """Catches at one flow, as positions in the list."""

    members: list[int]

    def frequency_hz(self, catches: Sequence[MeterCatch]) -> float:
        known = [f for i in self.members if (f := catches[i].frequency_hz) is not None]
        return sum(known) / len(known) if known else 0.0


@dataclass(frozen=True)
class _Fit:
    """One level per group, in units of the reference factor."""

    groups: list[_Group]
    values: list[float]
    own: list[float]
    levels: list[float]
    repeatability: float
    degrees: float
    assumed: bool

    @property
    def few(self) -> bool:
        """Whether there are repeats, and too few for their scatter to speak for itself."""
        return 0 < sum(len(group.members) for group in self.groups) - len(self.groups) < ENOUGH_DEGREES

    def weight(self, index: int) -> float:
        return 1.0 / (self.own[index] ** 2 + self.repeatability**2)

    def level_uncertainty(self, group: _Group) -> float:
        return 1.0 / math.sqrt(sum(self.weight(i) for i in group.members))

    def component(self) -> Component:
        """What is left of reading, pulses and repeatability; of a curve, that of its worst point."""
        worst = max(self.level_uncertainty(group) for group in self.groups)
        return Component("repeatability, reading and ± 1 pulse", worst, self.degrees)


def _groups_by_flow(catches: Sequence[MeterCatch]) -> list[_Group]:
    """Catches of about the same pulse frequency together, slowest first; those that were not timed are left out."""
    timed = [(f, i) for i, c in enumerate(catches) if (f := c.frequency_hz) is not None]
    groups: list[list[tuple[float, int]]] = []
    for frequency, index in sorted(timed):
        if groups and frequency <= groups[-1][0][0] * SAME_FLOW:
            groups[-1].append((frequency, index))
        else:
            groups.append([(frequency, index)])
    return [_Group([index for _, index in group]) for group in groups]


def _fit(catches: Sequence[MeterCatch], groups: list[_Group], reference: float) -> _Fit:
    values = [c.factor / reference for c in catches]
    own = [c.own_uncertainty() for c in catches]
    spare = sum(len(group.members) for group in groups) - len(groups)

    def misfit(repeatability: float) -> float:
        """Weighted sum of squares about the group levels, less what is expected of it."""
        return sum(_sum_of_squares(group, values, own, repeatability) for group in groups) - spare

    repeatability, degrees, assumed = 0.0, math.inf, spare == 0
    if assumed:
        repeatability = ASSUMED_REPEATABILITY
    elif misfit(0.0) > 0:
        low, high = 0.0, 1.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if misfit(middle) > 0 else (low, middle)
        repeatability, degrees = high, float(spare)
    if 0 < spare < ENOUGH_DEGREES:
        repeatability, degrees = pooled(repeatability, spare, ASSUMED_REPEATABILITY)
    weights = [1.0 / (u**2 + repeatability**2) for u in own]
    levels = [
        sum(weights[i] * values[i] for i in group.members) / sum(weights[i] for i in group.members) for group in groups
    ]
    return _Fit(groups, values, own, levels, repeatability, degrees, assumed)


def _sum_of_squares(group: _Group, values: list[float], own: list[float], repeatability: float) -> float:
    weights = [1.0 / (own[i] ** 2 + repeatability**2) for i in group.members]
    level = sum(w * values[i] for w, i in zip(weights, group.members, strict=True)) / sum(weights)
    return sum(w * (values[i] - level) ** 2 for w, i in zip(weights, group.members, strict=True))


def _differ(fit: _Fit) -> bool:
    """Whether any two flows have factors that differ beyond their scatter."""
    pairs = len(fit.groups) * (len(fit.groups) - 1) // 2
    factor = student_factor(1.0 - 0.05 / pairs, max(fit.degrees, 1.0))
    for a in range(len(fit.groups)):
        for b in range(a):
            gap = abs(fit.levels[a] - fit.levels[b])
            spread = math.hypot(fit.level_uncertainty(fit.groups[a]), fit.level_uncertainty(fit.groups[b]))
            if gap > max(factor * spread, CURVE_AT_LEAST):
                return True
    return False


def _scale_components(catches: Sequence[MeterCatch], fit: _Fit) -> list[Component]:
    """The scale of each vessel, by the share of the weight that was caught in it."""
    shares: dict[Vessel, float] = {}
    for index in (i for group in fit.groups for i in group.members):
        vessel = catches[index].vessel
        shares[vessel] = shares.get(vessel, 0.0) + fit.weight(index)
    if len(fit.groups) > 1:
        # A point of a curve may rest on one vessel alone.
        return [_worst_scale(shares)]
    total = sum(shares.values())
    return [
        Component(f"scale of the {vessel.name}", share / total * vessel.scale_uncertainty())
        for vessel, share in shares.items()
    ]


def _worst_scale(shares: dict[Vessel, float]) -> Component:
    worst = max(shares, key=lambda vessel: vessel.scale_uncertainty())
    return Component(f"scale of the {worst.name}", worst.scale_uncertainty())


def _between_points(curve: tuple[tuple[float, float], ...]) -> float:
    """Relative uncertainty of the straight lines between the points.

    A smooth curve leaves a straight line between two points by about a quarter of what the middle one of three leaves
    the line through its neighbours; that, taken as half-width of a rectangle.
    """
    bends = [
        abs(here - (before + (after - before) * (f - f0) / (f1 - f0))) / here
        for (f0, before), (f, here), (f1, after) in zip(curve, curve[1:], curve[2:], strict=False)
    ]
    return max(bends, default=0.0) / 4.0 / math.sqrt(3.0)


def _outliers(catches: Sequence[MeterCatch], fit: _Fit, reference: float) -> tuple[int, ...]:
    """Catches that lie apart from the rest of their group, judged without them (95 %, Bonferroni over the catches)."""
    found = []
    for group in fit.groups:
        if len(group.members) < 3:
            continue
        for index in group.members:
            rest = [catches[i] for i in group.members if i != index]
            without = _fit(rest, [_Group(list(range(len(rest))))], reference)
            level = without.levels[0]
            spread = math.sqrt(
                without.level_uncertainty(without.groups[0]) ** 2 + fit.own[index] ** 2 + without.repeatability**2
            )
            limit = student_factor(1.0 - 0.05 / len(group.members), max(without.degrees, 1.0))
            if abs(fit.values[index] - level) > max(limit * spread, CURVE_AT_LEAST):
                found.append(index)
    # One bad catch makes good ones look bad when they are judged with it: point at the farthest only.
    return (max(found, key=lambda i: abs(fit.values[i] - 1.0)),) if found else ()


def _remarks(
    catches: Sequence[MeterCatch], fit: _Fit, groups: list[_Group], is_curve: bool, outliers: tuple[int, ...]
) -> list[str]:
    said = []
    for index in outliers:
        others = [c for i, c in enumerate(catches) if i != index]
        level = sum(c.pulses for c in others) / sum(c.volume_m3 for c in others)
        said.append(
            f"Catch {index + 1} lies {100 * (catches[index].factor / level - 1):+.1f} % from the others: "
            "repeat it, or take it out if you know what went wrong."
        )
    if fit.assumed:
        said.append(
            f"No flow was caught twice, so a repeatability of {100 * ASSUMED_REPEATABILITY:.0f} % is assumed: "
            "repeat each flow three times to know it."
        )
    elif fit.few:
        said.append(
            f"There are few repeats, so an assumed repeatability of {100 * ASSUMED_REPEATABILITY:.0f} % counts with "
            "them: five catches, or three at each of two flows, make that unnecessary."
        )
    if is_curve:
        said.append("The factor changes with the flow by more than the scatter explains: a curve is used.")
    elif len(groups) > 1:
        said.append("The factor is the same at every flow within the scatter: a constant is used.")
    untimed = sum(c.duration_s is None for c in catches)
    if untimed == len(catches):
        said.append("No catch was timed, so the flows where the factor holds are not known.")
    elif untimed and is_curve:
        said.append("A catch that was not timed has no place on a curve and is left out of it.")
    elif not is_curve and len(groups) == 1:
        said.append("All catches were made at one flow: the factor is not proven at others.")
    return said
