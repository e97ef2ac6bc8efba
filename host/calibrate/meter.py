"""Flow meter: catches and pulses -> meter factor, constant or over the pulse frequency, with its uncertainty.

Each catch gives K = pulses / volume. What differs from catch to catch (reading of the vessel, ± 1 pulse, the meter's
own repeatability) is averaged by weights; what all catches in one vessel share (its scale, the eye's habit at its
marks) is not. The repeatability is the one that makes the scatter what it is (Paule & Mandel, J. Res. NBS 87 (1982)
377, the random-effects weighting), pooled with an assumed one (GUM 4.2.4).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from host.calibrate.odd_one import odd_one_out
from host.calibrate.uncertainty import Combined, Component, combine, pooled, seen_of, student_factor, triangular
from host.calibrate.vessels import Vessel
from host.errors import BadInputError, NotNowError
from host.rig import Meter
from host.rig.model import DAY_TO_DAY

# Repeatability (standard, as a fraction) that is assumed of a small turbine meter: common practice.
ASSUMED_REPEATABILITY = 0.008
SAME_FLOW = 1.15  # catches whose pulse frequencies differ by less than this ratio count as repeats of one flow
CURVE_AT_LEAST = 0.002  # a bend smaller than this is not worth a curve
NOT_BELIEVABLE = 1.5  # factors that differ by more than this ratio do not come from one meter
# Standard uncertainty between two flows, as a share of the difference of their factors: the curve may bend there.
UNSEEN_BEND = 1.0 / 4.0
_FEW = 5  # catches; from here on their own scatter says more than what is assumed
_MARKS_APART = 1.5  # steps of the vessel: a reading this near is no outlier, whatever the others were


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

    @property
    def reading(self) -> float:
        """Relative standard uncertainty of the volume by the vessel's step."""
        return self.vessel.reading_uncertainty() / self.volume_m3

    def own_uncertainty(self) -> float:
        """Relative standard uncertainty that this catch shares with no other: reading step and ± 1 pulse."""
        return math.hypot(self.reading, triangular(1.0) / self.pulses)


@dataclass(frozen=True)
class MeterCalibration:
    """The result. Uncertainties and residuals are fractions of the factor.

    `curve` as in host.rig.Meter; `residuals` one per catch against that curve (at the mean frequency where it was not
    timed); `outliers` are positions in the catches; `range_hz` is where it was caught, None when nothing was timed;
    `repeat` are the positions of single catches that would make a curve, if a repeat confirmed them; `remarks` say the
    rest in sentences.
    """

    curve: tuple[tuple[float, float], ...]
    uncertainty: Combined
    residuals: tuple[float, ...]
    outliers: tuple[int, ...]
    range_hz: tuple[float, float] | None
    remarks: tuple[str, ...]
    repeat: tuple[int, ...] = ()

    def meter(self) -> Meter:
        """The meter as the rig has it."""
        return Meter(self.curve, self.uncertainty.carried, self.range_hz)


def calibrate_meter(catches: Sequence[MeterCatch]) -> MeterCalibration:
    """Fit the meter factor to one or more catches; their order does not matter.

    A curve is taken only when the factors at different flows differ by more than their scatter explains (Student's
    test at 95 %, Bonferroni over the pairs) and by more than 0.2 %, and when each of them was caught at least twice.
    Raises UserError when a catch cannot be one.
    """
    _check(catches)
    reference = math.fsum(c.pulses for c in catches) / math.fsum(c.volume_m3 for c in catches)
    everything = _Group(tuple(range(len(catches))))
    flows = _groups_by_flow(catches)
    split = _fit(catches, flows, reference) if len(flows) > 1 else None
    constant = _fit(catches, [everything], reference)
    curves = [fit for groups in _repeated(flows) if _differ(fit := _fit(catches, groups, reference))]
    # A flow that was caught less often joins the curve when that makes it surer; else it only shows whether it bends.
    fit = min(curves, key=lambda one: combine(one.budget(split)).expanded, default=constant)
    single: tuple[int, ...] = ()
    if not curves and split is not None and _differ(split):
        single = tuple(group.members[0] for group in flows if len(group.members) == 1)
    curve = fit.curve(reference)
    meter = Meter(curve, 0.0)
    frequencies = [f for c in catches if (f := c.frequency_hz) is not None]
    middle = sum(frequencies) / len(frequencies) if frequencies else 0.0
    residuals = tuple(c.factor / float(meter.pulses_per_m3(c.frequency_hz or middle)) - 1.0 for c in catches)
    outliers = _outliers(catches, fit)
    return MeterCalibration(
        curve=curve,
        uncertainty=combine(fit.budget(split)),
        residuals=residuals,
        outliers=outliers,
        range_hz=(min(frequencies), max(frequencies)) if frequencies else None,
        remarks=tuple(_remarks(catches, fit, flows, outliers, single)),
        repeat=single,
    )


def _check(catches: Sequence[MeterCatch]) -> None:
    if not catches:
        raise NotNowError("no catch was given: spray into a bucket while the board counts and give pulses and volume.")
    for number, c in enumerate(catches, start=1):
        if c.pulses < 1:
            raise BadInputError(
                f"catch {number} has {c.pulses} pulses: the meter did not turn; check its wiring and repeat."
            )
        if not (c.volume_m3 > 0 and math.isfinite(c.volume_m3)):
            raise BadInputError(f"catch {number} has no volume above zero: repeat it.")
        if c.duration_s is not None and not c.duration_s > 0:
            raise BadInputError(f"catch {number} has no time above zero: give its time or leave it out.")
        if c.vessel.reading_uncertainty() > 0.1 * c.volume_m3:
            raise BadInputError(f"catch {number} is smaller than what the {c.vessel.name} can show: catch more.")
    factors = [c.factor for c in catches]
    if max(factors) > NOT_BELIEVABLE * min(factors):
        low, high = (1 + factors.index(extreme(factors)) for extreme in (min, max))
        raise BadInputError(
            f"catches {low} and {high} differ {max(factors) / min(factors):.2g}-fold in pulses per volume: "
            "one of them is mistyped or went wrong; take it out or repeat it."
        )


@dataclass(frozen=True)
class _Group:
    """Catches at one flow, as positions in the list."""

    members: tuple[int, ...]

    def frequency_hz(self, catches: Sequence[MeterCatch]) -> float:
        known = [f for i in self.members if (f := catches[i].frequency_hz) is not None]
        return sum(known) / len(known) if known else 0.0

    def by_vessel(self, catches: Sequence[MeterCatch]) -> dict[Vessel, list[int]]:
        cells: dict[Vessel, list[int]] = {}
        for i in self.members:
            cells.setdefault(catches[i].vessel, []).append(i)
        return cells


@dataclass(frozen=True)
class _Fit:
    """One level per group, in units of the reference factor; `weights` of the catches in each level."""

    catches: Sequence[MeterCatch]
    groups: Sequence[_Group]
    values: Sequence[float]
    repeatability: float
    degrees: float
    spare: int
    seen: float
    levels: list[float] = field(default_factory=list)
    weights: list[dict[int, float]] = field(default_factory=list)

    def own(self, index: int) -> float:
        return math.hypot(self.catches[index].own_uncertainty(), self.repeatability)

    def own_of_level(self, place: int) -> float:
        return math.hypot(*(w * self.own(i) for i, w in self.weights[place].items()))

    def habit(self, vessel: Vessel, members: Sequence[int], weights: Mapping[int, float]) -> float:
        """What the eye's habit at the vessel's marks, one error for all its readings, does to their weighted sum."""
        volumes = [self.catches[i].volume_m3 for i in members]
        shares = math.fsum(weights[i] / volume for i, volume in zip(members, volumes, strict=True))
        return vessel.marks_uncertainty(volumes) * shares

    def shared_of_level(self, place: int) -> list[Component]:
        parts = []
        for vessel, members in self.groups[place].by_vessel(self.catches).items():
            weights = self.weights[place]
            share = math.fsum(weights[i] for i in members)
            habit = self.habit(vessel, members, weights)
            scale = vessel.scale_uncertainty()
            named, even = vessel.shared("scale"), vessel.density_spread == 0.0
            parts.append(Component(f"scale of the {vessel.name}", share * scale, shared=named, even=even))
            named = vessel.shared("marks")
            parts.append(Component(f"marks of the {vessel.name}, read alike", habit, shared=named, even=True))
        return parts

    def curve(self, reference: float) -> tuple[tuple[float, float], ...]:
        """Frequencies (Hz) and factors (pulses/m³)."""
        at = (group.frequency_hz(self.catches) for group in self.groups)
        return tuple((hz, level * reference) for hz, level in zip(at, self.levels, strict=True))

    def budget(self, split: _Fit | None) -> list[Component]:
        """What the levels are known to, of a curve its worst point; `split` has a level for each flow caught."""

        def of_level(place: int) -> list[Component]:
            weights = self.weights[place]
            read = math.hypot(*(w * self.catches[i].own_uncertainty() for i, w in weights.items()))
            once = math.hypot(*weights.values())
            return [
                Component("repeatability", once * self.repeatability, self.degrees, seen=once * self.seen),
                Component("reading and ± 1 pulse", read, seen=read),
                *self.shared_of_level(place),
            ]

        parts = max((of_level(place) for place in range(len(self.groups))), key=lambda parts: combine(parts).standard)
        return parts if split is None else [*parts, Component("between the flows caught", _unseen(split, self))]


def _groups_by_flow(catches: Sequence[MeterCatch]) -> list[_Group]:
    """Catches of about the same pulse frequency together, slowest first; those that were not timed are left out."""
    timed = [(f, i) for i, c in enumerate(catches) if (f := c.frequency_hz) is not None]
    groups: list[list[tuple[float, int]]] = []
    for frequency, index in sorted(timed):
        if groups and frequency <= groups[-1][0][0] * SAME_FLOW:
            groups[-1].append((frequency, index))
        else:
            groups.append([(frequency, index)])
    return [_Group(tuple(index for _, index in group)) for group in groups]


def _fit(catches: Sequence[MeterCatch], groups: Sequence[_Group], reference: float) -> _Fit:
    values = [c.factor / reference for c in catches]
    cells = [cell for group in groups for cell in group.by_vessel(catches).values()]
    spare = sum(map(len, cells)) - len(cells)

    def misfit(repeatability: float) -> float:
        """Weighted sum of squares about the levels, less what is expected of it."""
        return math.fsum(_sum_of_squares(catches, values, cell, repeatability) for cell in cells) - spare

    seen = 0.0
    if spare and misfit(0.0) > 0:
        low, high = 0.0, 1.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if misfit(middle) > 0 else (low, middle)
        seen = high
    fit = _Fit(catches, groups, values, *pooled(seen, spare, ASSUMED_REPEATABILITY), spare, seen_of(seen, spare))
    for group in groups:
        weights = _weights(fit, group)
        fit.weights.append(weights)
        fit.levels.append(math.fsum(w * values[i] for i, w in weights.items()))
    return fit


def _weights(fit: _Fit, group: _Group) -> dict[int, float]:
    """Within a vessel by what is the catch's own, between vessels by all that the vessel leaves open.

    Each mean counts by its inverse variance, so no other weights of the vessels give a smaller one (Aitken, Proc. R.
    Soc. Edinburgh 55 (1936) 42): what the budget states of it and what weighs it are one sum.
    """
    inner: dict[int, float] = {}
    outer: list[tuple[list[int], float]] = []
    for vessel, members in group.by_vessel(fit.catches).items():
        each = {i: 1.0 / fit.own(i) ** 2 for i in members}
        total = math.fsum(each.values())
        inner |= {i: w / total for i, w in each.items()}
        habit = fit.habit(vessel, members, inner)
        outer.append((members, 1.0 / (1.0 / total + vessel.scale_uncertainty() ** 2 + habit**2)))
    whole = math.fsum(weight for _, weight in outer)
    return {i: inner[i] * weight / whole for members, weight in outer for i in members}


def _sum_of_squares(
    catches: Sequence[MeterCatch], values: Sequence[float], cell: Sequence[int], repeatability: float
) -> float:
    weights = [1.0 / (catches[i].own_uncertainty() ** 2 + repeatability**2) for i in cell]
    level = math.fsum(w * values[i] for w, i in zip(weights, cell, strict=True)) / math.fsum(weights)
    return math.fsum(w * (values[i] - level) ** 2 for w, i in zip(weights, cell, strict=True))


def _differ(fit: _Fit) -> bool:
    """Whether any two flows have factors that differ beyond their scatter."""
    pairs = len(fit.groups) * (len(fit.groups) - 1) // 2
    factor = student_factor(1.0 - 0.05 / pairs, fit.degrees)
    for a, b in itertools.combinations(range(len(fit.groups)), 2):
        gap = abs(fit.levels[a] - fit.levels[b])
        if gap > max(factor * math.hypot(fit.own_of_level(a), fit.own_of_level(b)), CURVE_AT_LEAST):
            return True
    return False


def _repeated(flows: Sequence[_Group]) -> list[list[_Group]]:
    """Flows to make a curve of: all that were caught twice or more, and those of them that were caught the most."""
    counts = sorted({len(group.members) for group in flows if len(group.members) > 1})
    kept = ([group for group in flows if len(group.members) >= least] for least in counts)
    return [groups for groups in kept if len(groups) > 1]


def _unseen(split: _Fit, used: _Fit) -> float:
    """What the factor may do between the flows that were caught, and beside those that are not on the curve."""
    between = max(abs(b - a) for a, b in itertools.pairwise(split.levels)) * UNSEEN_BEND
    curve = Meter(used.curve(1.0), 0.0)
    off = (abs(level - float(curve.pulses_per_m3(hz))) for hz, level in split.curve(1.0))
    return max(between, max(off) / math.sqrt(3.0))


def _outliers(catches: Sequence[MeterCatch], fit: _Fit) -> tuple[int, ...]:
    """The catch that lies apart from the others of its flow and vessel, if there is one."""
    cells = [cell for group in fit.groups for cell in group.by_vessel(catches).values() if len(cell) > 1]
    among = sum(map(len, cells))
    for cell in cells:
        level = math.fsum(fit.values[i] for i in cell) / len(cell)
        odd = odd_one_out(
            [fit.values[i] / level for i in cell],
            [catches[i].own_uncertainty() for i in cell],
            ASSUMED_REPEATABILITY,
            [max(CURVE_AT_LEAST, _MARKS_APART * catches[i].vessel.step_m3 / catches[i].volume_m3) for i in cell],
            among,
        )
        if odd is not None:
            return (cell[odd],)
    return ()


def _remarks(
    catches: Sequence[MeterCatch],
    fit: _Fit,
    flows: Sequence[_Group],
    outliers: tuple[int, ...],
    single: tuple[int, ...],
) -> list[str]:
    said = [_odd_remark(catches, fit, index) for index in outliers]
    said.append(
        "How far the meter wanders from day to day is not seen in one calibration: "
        f"{100 * DAY_TO_DAY:.1f} % is counted for it in every run (assumed)."
    )
    assumed = f"{100 * ASSUMED_REPEATABILITY:.1f} %"
    if not fit.spare:
        said.append(
            f"No flow was caught twice, so a repeatability of {assumed} is assumed: repeat each flow three times."
        )
    elif fit.spare + 1 < _FEW:
        said.append(f"There are few repeats, so an assumed repeatability of {assumed} counts with them: catch more.")
    if single:
        *most, last = (str(index + 1) for index in single)
        once = f"catches {', '.join(most)} and {last} were" if most else f"catch {last} was"
        again = "those flows" if most else "that flow"
        said.append(
            f"The factor seems to change with the flow, but {once} not repeated: catch {again} again. "
            "Until then a constant is used."
        )
    elif len(fit.groups) > 1:
        said.append("The factor changes with the flow by more than the scatter explains: a curve is used.")
    elif len(flows) > 1:
        said.append("The factor is the same at every flow within the scatter: a constant is used.")
    if len(flows) == 2:
        said.append("Two flows cannot show a bend between them: catch a third flow in the middle.")
    untimed = sum(c.duration_s is None for c in catches)
    if untimed == len(catches):
        said.append("No catch was timed, so it is not known at which flows the factor was caught.")
    elif untimed and len(fit.groups) > 1:
        said.append("A catch that was not timed has no place on a curve and is left out of it.")
    elif len(flows) == 1:
        said.append("All catches were made at one flow: the factor is not proven at others.")
    return said


def _odd_remark(catches: Sequence[MeterCatch], fit: _Fit, index: int) -> str:
    mates = next(cell for group in fit.groups for cell in group.by_vessel(catches).values() if index in cell)
    others = [catches[i] for i in mates if i != index]
    level = math.fsum(c.pulses for c in others) / math.fsum(c.volume_m3 for c in others)
    apart = 100 * (catches[index].factor / level - 1)
    if len(others) == 1:
        other = next(i for i in mates if i != index)
        return (
            f"Catches {min(index, other) + 1} and {max(index, other) + 1} differ by {abs(apart):.1f} %, more than two "
            "good catches do: catch a third to see which one went wrong."
        )
    return f"Catch {index + 1} is {apart:+.1f} % from the others: repeat it, or remove it if you know what went wrong."
