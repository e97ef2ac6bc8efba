"""What to walk and to catch by: figures for stopwatch, jug and measured course instead of a rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from host.documents.document import Fact, Facts, Quantity, quantity
from host.formulas import AREA_128TH_ACRE_M2, course_length_for_128th_acre, time_over_course
from host.plan.amounts import POUR_UNITS, PourUnit, settle, settled_quantity
from host.units import FOOT_M, INCH_M

# A course that most lawns have room for.
COURSE_M = {"us": 200 * FOOT_M, "metric": 50.0}
CATCH_S = 30.0
STEP_M = {"us": 30 * INCH_M, "metric": 0.75}
# How far a jug may be from the others: "Sprayer Calibration", LSU AgCenter, as in the catch test.
SOUND = 0.05
# The metric sister of the 1/128 acre: on 10 m² the millilitres caught are the litres per hectare (an identity).
AREA_10_M2 = 10.0


@dataclass(frozen=True)
class Walk:
    """A way to spray: one nozzle's flow (m³/s), the width it covers (m), speed (m/s), rate (m³/m²)."""

    nozzle_flow_m3_s: float
    nozzle_width_m: float
    speed_m_s: float
    rate_m3_m2: float


def targets(walk: Walk, system: str, *, course_m: float | None, catch_s: float | None, step_m: float | None) -> Facts:
    """Seconds over the course, what each jug holds, the course on which the jug reads the rate, and a beat to walk to.

    None stands for what is usual.
    """
    course = COURSE_M[system] if course_m is None else course_m
    caught = CATCH_S if catch_s is None else catch_s
    step = STEP_M[system] if step_m is None else step_m
    jug = POUR_UNITS["fluid_ounce" if system == "us" else "milliliter"]
    amount = walk.nozzle_flow_m3_s * caught
    sound = [settle(amount * factor / jug.size) for factor in (1 - SOUND, 1 + SOUND)]
    seconds = time_over_course(course, walk.speed_m_s)
    beats = 60.0 * walk.speed_m_s / step
    over = quantity(course, "length", system)
    return Facts(
        (
            Fact("course", "", over),
            Fact("course_time", f"Walk {over.text} in", quantity(seconds, "time", system)),
            Fact("catch_time", "", quantity(caught, "time", system)),
            Fact("catch", f"Each jug after {_seconds(caught)}", _poured(amount, jug, system)),
            Fact("", "All jugs between", f"{sound[0]} and {sound[1]} {jug.symbol}"),
            *_jug_course(walk, system, jug),
            Fact("step", "", quantity(step, "spacing", system)),
            Fact(
                "beats_per_minute",
                f"Steps of {quantity(step, 'spacing', system).text}",
                Quantity(f"{beats:.0f} a minute", beats),
            ),
        ),
        key="targets",
    )


def _jug_course(walk: Walk, system: str, jug: PourUnit) -> Sequence[Fact]:
    """The course on which the jug of one nozzle reads the rate itself: ounces are gal/acre, millilitres L/ha."""
    if system == "us":
        area, length = AREA_128TH_ACRE_M2, course_length_for_128th_acre(walk.nozzle_width_m)
    else:
        area, length = AREA_10_M2, AREA_10_M2 / walk.nozzle_width_m
    rate = quantity(walk.rate_m3_m2, "field_rate", system)
    over = quantity(length, "length", system)
    caught = _poured(area * walk.rate_m3_m2, jug, system)
    time = quantity(time_over_course(length, walk.speed_m_s), "time", system)
    return (
        Fact("jug_course", "", over),
        Fact("jug_course_time", "", time),
        Fact("jug_course_catch", "", caught),
        Fact("", f"On {over.text} one jug reads {rate.symbol}", f"{caught.text}, caught for {time.text}"),
    )


def _poured(amount: float, unit: PourUnit, system: str) -> Quantity:
    return settled_quantity(settle(amount / unit.size), amount, unit, system)


def _seconds(seconds: float) -> str:
    return f"{seconds:g} s"
