"""Wheel rolled over a measured course, and a timed course for a rig without a wheel."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from host.calibrate.uncertainty import Combined, Component, combine, pooled, rectangular, sample_deviation, triangular
from host.errors import UserError
from host.rig import Course, Wheel

TAPE_ACCURACY = 0.002  # of the length, to either side: a tape laid on grass; common practice
SLIP = 0.005  # standard, assumed of a wheel that was rolled only once, and counted beside few passes
PACE_SPREAD = 0.03  # the same of a walker
NOT_BELIEVABLE = 1.5  # passes that differ by more than this ratio are not of one course
STOPWATCH_S = 0.2  # standard, start and stop by hand


@dataclass(frozen=True)
class WheelCalibration:
    """Way per pulse (m) with its relative uncertainty; `residuals` of each pass as fractions; remarks in sentences."""

    metres_per_pulse: float
    uncertainty: Combined
    residuals: tuple[float, ...]
    remarks: tuple[str, ...]

    def wheel(self) -> Wheel:
        """The wheel as the rig has it."""
        return Wheel(self.metres_per_pulse, self.uncertainty.standard)


@dataclass(frozen=True)
class CourseCalibration:
    """Walking speed (m/s). `uncertainty` is of a single pass at this pace, `spread` of the passes about their mean.

    Both as fractions; `spread` is None when there was only one pass.
    """

    distance_m: float
    time_s: float
    uncertainty: Combined
    spread: float | None
    residuals: tuple[float, ...]
    remarks: tuple[str, ...]

    @property
    def speed_m_s(self) -> float:
        """Mean speed."""
        return self.distance_m / self.time_s

    def course(self) -> Course:
        """The course as the rig has it."""
        return Course(self.speed_m_s, self.uncertainty.standard)


def calibrate_wheel(distance_m: float, pulses: Sequence[int], tape_accuracy: float = TAPE_ACCURACY) -> WheelCalibration:
    """Way per pulse from the pulses counted over a course, once for each pass. Raises UserError."""
    _check_course(distance_m, len(pulses))
    for number, count in enumerate(pulses, start=1):
        if count < 10:
            raise UserError(
                f"pass {number} has {count} pulses, too few to calibrate with: check the wheel's sensor, "
                "or take a longer course."
            )
    _check_alike(pulses, "pulses")
    mean = sum(pulses) / len(pulses)
    residuals = tuple(count / mean - 1.0 for count in pulses)
    parts = [Component("length of the course", rectangular(tape_accuracy))]
    remarks = []
    edge = triangular(1.0) / mean / math.sqrt(len(pulses))
    if len(pulses) > 1:
        once, degrees = pooled(sample_deviation(residuals), len(pulses) - 1, SLIP)
        scatter = once / math.sqrt(len(pulses))
        parts.append(Component("passes", scatter, degrees) if scatter > edge else Component("± 1 pulse", edge))
        worst = max(residuals, key=abs)
        if abs(worst) > 0.02:
            remarks.append(
                f"Pass {residuals.index(worst) + 1} is {100 * worst:+.1f} % off the others: the wheel slipped or the "
                "course was not held; roll it again."
            )
    else:
        parts += [Component("± 1 pulse", edge), Component("slip (assumed: one pass only)", SLIP)]
        remarks.append(f"Only one pass was rolled, so a slip of {100 * SLIP:.1f} % is assumed: roll the course again.")
    return WheelCalibration(distance_m / mean, combine(parts), residuals, tuple(remarks))


def calibrate_course(
    distance_m: float, times_s: Sequence[float], tape_accuracy: float = TAPE_ACCURACY
) -> CourseCalibration:
    """Walking speed from the times over a course. Raises UserError."""
    _check_course(distance_m, len(times_s))
    for number, time in enumerate(times_s, start=1):
        if not time >= 1.0:
            raise UserError(f"pass {number} took {time:g} s: the time must be at least 1 s; time it again.")
    _check_alike(times_s, "time")
    mean = sum(times_s) / len(times_s)
    residuals = tuple(time / mean - 1.0 for time in times_s)
    parts = [
        Component("length of the course", rectangular(tape_accuracy)),
        Component("stopwatch", STOPWATCH_S / mean / math.sqrt(len(times_s))),
    ]
    remarks, spread = [], None
    if len(times_s) > 1:
        spread = sample_deviation(residuals)
        # What a run meets is one more pass at this pace, not the mean of many: the spread itself counts.
        once, degrees = pooled(spread, len(times_s) - 1, PACE_SPREAD)
        parts.append(Component("pace of one pass", once * math.sqrt(1.0 + 1.0 / len(times_s)), degrees))
        if spread > 0.05:
            remarks.append(f"Your pace varies by {100 * spread:.0f} %: so will the rate; keep to a beat.")
    else:
        parts.append(Component("pace (assumed: one pass only)", PACE_SPREAD))
        remarks.append(f"Only one pass was timed, so a spread of {100 * PACE_SPREAD:.0f} % is assumed: time it again.")
    return CourseCalibration(distance_m, mean, combine(parts), spread, residuals, tuple(remarks))


def _check_course(distance_m: float, passes: int) -> None:
    if not (distance_m > 0 and math.isfinite(distance_m)):
        raise UserError("the course has no length above zero: measure it and give its length.")
    if not passes:
        raise UserError("no pass was given: cover the course at spraying pace at least once.")


def _check_alike(values: Sequence[float], what: str) -> None:
    if max(values) > NOT_BELIEVABLE * min(values):
        low, high = (1 + list(values).index(extreme(values)) for extreme in (min, max))
        raise UserError(
            f"passes {low} and {high} differ {max(values) / min(values):.2g}-fold in {what}: one of them is mistyped "
            "or went wrong; take it out or repeat it."
        )
