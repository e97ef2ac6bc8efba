"""Wheel rolled over a measured course, and a timed course for a rig without a wheel."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from host.calibrate.odd_one import odd_one_out
from host.calibrate.uncertainty import (
    LEVEL_OF_CONFIDENCE,
    Combined,
    Component,
    combine,
    pooled,
    rectangular,
    restless_degrees,
    sample_deviation,
    seen_of,
    student_factor,
    triangular,
)
from host.errors import BadInputError, NotNowError
from host.formulas import speed_over_course
from host.rig import Course, Wheel

TAPE_ACCURACY = 0.005  # of the length, to either side: a tape laid on grass, nothing better said; common practice
SLIP = 0.008  # standard, of one pass: assumed of a wheel, counts with the passes that were rolled
# The same where a pass is said to be odd: twice as much, for many a wheel slips by 2 % on grass and is sound.
ODD_SLIP = 0.016
PACE_SPREAD = 0.024  # as SLIP, of a walker
RESTLESS = 0.035  # a spread of laps that is told of: half as much again as what is assumed of a walker
NOT_BELIEVABLE = 1.5  # passes that differ by more than this ratio are not of one course
STOPWATCH_S = 0.2  # standard, start and stop by hand
_FEW = 5  # passes; from here on their own scatter says more than what is assumed


@dataclass(frozen=True)
class WheelCalibration:
    """Way per pulse (m) with its relative uncertainty; `residuals` of each pass as fractions; remarks in sentences."""

    metres_per_pulse: float
    uncertainty: Combined
    residuals: tuple[float, ...]
    remarks: tuple[str, ...]

    def wheel(self) -> Wheel:
        """The wheel as the rig has it."""
        return Wheel(self.metres_per_pulse, self.uncertainty.carried)


@dataclass(frozen=True)
class CourseCalibration:
    """Walking speed (m/s). `uncertainty` is of one more pass at this pace, `mean` of the mean of many more.

    `spread` is that of the passes about their mean, None when there was only one; `pass_spread` the standard deviation
    of one more pass, pooled with what is assumed, widened as `Combined.carried` is. All as fractions.
    """

    distance_m: float
    time_s: float
    uncertainty: Combined
    mean: Combined
    pass_spread: float
    spread: float | None
    residuals: tuple[float, ...]
    remarks: tuple[str, ...]

    @property
    def speed_m_s(self) -> float:
        """Mean speed."""
        return speed_over_course(self.distance_m, self.time_s)

    def course(self) -> Course:
        """The course as the rig has it."""
        return Course(self.speed_m_s, self.uncertainty.carried, self.pass_spread)


def calibrate_wheel(distance_m: float, pulses: Sequence[int], tape_accuracy: float = TAPE_ACCURACY) -> WheelCalibration:
    """Way per pulse from the pulses counted over a course, once for each pass. Raises UserError."""
    _check_course(distance_m, len(pulses))
    for number, count in enumerate(pulses, start=1):
        if count < 10:
            raise BadInputError(
                f"lap {number} has {count} pulses, too few to calibrate with: check the wheel's sensor, "
                "or take a longer course."
            )
    _check_alike(pulses, "pulses")
    mean = math.fsum(pulses) / len(pulses)
    residuals = tuple(count / mean - 1.0 for count in pulses)
    once, degrees = pooled(_scatter(residuals), len(pulses) - 1, SLIP)
    seen = seen_of(_scatter(residuals), len(pulses) - 1)
    parts = [
        Component("length of the course", rectangular(tape_accuracy), shared="tape", even=True),
        Component("slip of the wheel", once / math.sqrt(len(pulses)), degrees, seen=seen / math.sqrt(len(pulses))),
        # Each pass begins with the magnet at about the same place, so that no number of passes averages this away.
        Component("± 1 pulse", triangular(1.0) / mean),
    ]
    remarks = []
    odd = odd_one_out(residuals, [0.0] * len(pulses), ODD_SLIP, [1.5 / mean] * len(pulses), len(pulses))
    if odd is not None:
        remarks.append(f"{_odd(odd, residuals)}: the wheel slipped, or the course was not held; roll it again.")
    remarks += _few(len(pulses), f"a slip of {100 * SLIP:.1f} %", "roll the course")
    return WheelCalibration(distance_m / mean, combine(parts), residuals, tuple(remarks))


def calibrate_course(
    distance_m: float, times_s: Sequence[float], tape_accuracy: float = TAPE_ACCURACY
) -> CourseCalibration:
    """Walking speed from the times over a course. Raises UserError."""
    _check_course(distance_m, len(times_s))
    for number, time in enumerate(times_s, start=1):
        if not time >= 1.0:
            raise BadInputError(f"lap {number} took {time:g} s: the time must be at least 1 s; time it again.")
    _check_alike(times_s, "time")
    passes = len(times_s)
    mean = math.fsum(times_s) / passes
    residuals = tuple(time / mean - 1.0 for time in times_s)
    once, degrees = pooled(_scatter(residuals), passes - 1, PACE_SPREAD)
    seen = seen_of(_scatter(residuals), passes - 1)
    # A walker who was seen to be more restless than is assumed is not made steadier by the assumption.
    if (own := _scatter(residuals)) > once:
        once, degrees, seen = own, restless_degrees(own, passes - 1, PACE_SPREAD), own
    fixed = [
        Component("length of the course", rectangular(tape_accuracy), shared="tape", even=True),
        Component("stopwatch", STOPWATCH_S / mean / math.sqrt(passes)),
    ]
    # What a run meets is one more pass at this pace, not the mean of many: its own spread counts as well.
    more, mean_of = math.sqrt(1.0 + 1.0 / passes), 1.0 / math.sqrt(passes)
    one_more = Component("pace of one more pass", once * more, degrees, least=once, seen=seen * more)
    of_mean = Component("mean pace", once * mean_of, degrees, seen=seen * mean_of)
    spread = sample_deviation(residuals) if passes > 1 else None
    remarks = []
    if spread is not None and spread > RESTLESS:
        remarks.append(f"Your pace varies by {100 * spread:.0f} %: so will the rate. Walk to a beat.")
    remarks += _few(passes, f"a spread of {100 * PACE_SPREAD:.1f} %", "time the course")
    return CourseCalibration(
        distance_m, mean, combine([*fixed, one_more]), combine([*fixed, of_mean]),
        once * student_factor(LEVEL_OF_CONFIDENCE, degrees) / 2.0, spread, residuals, tuple(remarks),
    )  # fmt: skip


def _scatter(residuals: Sequence[float]) -> float:
    return sample_deviation(residuals) if len(residuals) > 1 else 0.0


def _odd(index: int, residuals: Sequence[float]) -> str:
    if len(residuals) == 2:
        return f"Laps 1 and 2 differ by {100 * abs(residuals[0] - residuals[1]):.1f} %"
    return f"Lap {index + 1} is {100 * residuals[index]:+.1f} % off the mean"


def _few(passes: int, assumed: str, again: str) -> list[str]:
    if passes >= _FEW:
        return []
    if passes == 1:
        return [f"Only one lap, so {assumed} is assumed: {again} again, three times in all."]
    return [f"There are few laps, so an assumed {assumed.removeprefix('a ')} counts with them."]


def _check_course(distance_m: float, passes: int) -> None:
    if not (distance_m > 0 and math.isfinite(distance_m)):
        raise BadInputError("the course has no length above zero: measure it and give its length.")
    if not passes:
        raise NotNowError("no lap was given: walk the course at spraying speed at least once.")


def _check_alike(values: Sequence[float], what: str) -> None:
    if max(values) > NOT_BELIEVABLE * min(values):
        low, high = (1 + list(values).index(extreme(values)) for extreme in (min, max))
        raise BadInputError(
            f"laps {low} and {high} differ {max(values) / min(values):.2g}-fold in {what}: one of them is mistyped "
            "or went wrong; take it out or repeat it."
        )
