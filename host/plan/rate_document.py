"""Rate, speed and pressure as a result: the answer, what to walk and catch by, the rate around it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from host.documents.document import (
    Column,
    Document,
    Fact,
    Facts,
    Message,
    Messages,
    Plot,
    Section,
    Series,
    Table,
    quantity,
)
from host.documents.words import sentence
from host.entries import WrongEntriesError
from host.errors import BadInputError, UserError
from host.plan.amounts import POUR_UNITS, settle
from host.plan.fields import RATE
from host.plan.inputs import Answers, is_plausible, parse_density
from host.plan.rate import Boom, Setting, beyond_range, rate_table, solve, speed_limits
from host.plan.targets import Walk, targets
from host.rig import Rig, Tip
from host.units import UNITS, format_number, format_value, to_user

SPEEDS = (0.7, 0.85, 1.0, 1.15, 1.3)
_PRESSURES = 5
_POINTS = 31
# On foot or behind a garden tractor.
_SLOWEST_M_S, _FASTEST_M_S = 0.1, 5.0
_GIVEN = {"rate": "rate", "speed": "speed", "pressure": "pressure", "nozzle_flow": "flow"}


def rate_document(rig: Rig, typed: Mapping[str, str | None], system: str, *, command: bool = False) -> Document:
    """The setting that was asked for. What is missing to two is the rig's target, then the speed of its course.

    Raises WrongEntriesError, and UserError for what belongs to no field.
    """
    answers = Answers(RATE, typed, command=command)
    given = {name: answers.quantity(name, kind) for name, kind in _GIVEN.items()}
    boom = read_boom(rig, answers)
    course, catch, step = (
        answers.quantity(name, kind)
        for name, kind in (("course", "length"), ("catch_time", "time"), ("step", "length"))
    )
    answers.check()
    _fill_in(given, rig)
    if not any(value is not None for value in given.values()):
        raise BadInputError(
            "give a speed or a pressure, for the rig's target rate; or two of rate, speed and pressure."
        )
    if sum(given[name] is not None for name in ("rate", "speed", "pressure")) == 3:
        raise BadInputError("rate, speed and pressure are all given: leave one out, or ask which tips do it.")
    try:
        setting = solve(
            boom,
            rate_m3_m2=given["rate"],
            speed_m_s=given["speed"],
            pressure_pa=given["pressure"],
            nozzle_flow_m3_s=given["nozzle_flow"],
        )
    except UserError as error:
        last = [name for name in _GIVEN if answers.given(name)][-1:]
        if not last:
            raise
        raise WrongEntriesError({last[0]: sentence(str(error))}) from None
    sizes = {"rate": setting.rate_m3_m2, "speed": setting.speed_m_s, "pressure": setting.pressure_pa}
    for kind, size in sizes.items():
        if not is_plausible(size, kind):
            raise BadInputError(f"no {kind} that a small sprayer can have does that: check the numbers.")
    messages = tuple(_warnings(rig, boom, setting, system))
    walk = Walk(setting.nozzle_flow_m3_s, boom.swath_m / boom.nozzles.count, setting.speed_m_s, setting.rate_m3_m2)
    if course is None and rig.course is not None:
        course = rig.course.distance_m
    aims = targets(walk, system, course_m=course, catch_s=catch, step_m=step)
    return Document(
        "rate",
        f"Plan for {rig.name}",
        _answer(setting, boom.nozzles, system),
        (
            Section("", "", (Messages(messages, key="warnings"), _setting(setting, boom, system))),
            Section("", "Walk and catch by", (aims,)),
            Section("", "Rate around it", _around(rig, boom, setting, system)),
        ),
        "warning" if messages else "note",
    )


def read_boom(rig: Rig, answers: Answers) -> Boom:
    """The boom of the rig with the density and the width of a band as typed."""
    gravity = answers.read("density", parse_density)
    band = answers.quantity("band", "length")
    swath = rig.swath_m if band is None else band * rig.nozzles.count
    return Boom(rig.nozzles, swath, 1.0 if gravity is None else gravity)


def pressures_of(tip: Tip) -> list[float]:
    """Pressures (Pa) over the range of a tip."""
    low, high = tip.range_pa
    return [low + (high - low) * step / (_PRESSURES - 1) for step in range(_PRESSURES)]


def range_words(tip: Tip, system: str) -> str:
    """The range of a tip, and whether anybody stated it."""
    span = " to ".join(format_value(limit, "pressure", system) for limit in tip.range_pa)
    if None not in (tip.min_pressure_pa, tip.max_pressure_pa) or len(tip.points) > 1:
        return f"the tips' range of {span}"
    at = format_value(tip.reference_pressure_pa, "pressure", system)
    return f"{span}, where tips stated at {at} are usually used (the rig file has no range for them)"


def _fill_in(given: dict[str, float | None], rig: Rig) -> None:
    """What is missing to two: the target rate, then the speed of the rig's course where it has one."""

    def missing() -> int:
        return 2 - sum(value is not None for value in given.values())

    if given["rate"] is None and (missing() == 1 or (missing() == 2 and rig.course is not None)):
        given["rate"] = rig.target.rate_m3_m2
    if given["speed"] is None and missing() == 1 and rig.course is not None:
        given["speed"] = rig.course.speed_m_s


def _answer(setting: Setting, tip: Tip, system: str) -> str:
    rate = format_value(setting.rate_m3_m2, "rate", system)
    speed = format_value(setting.speed_m_s, "speed", system)
    pressure = format_value(setting.pressure_pa, "pressure", system)
    if setting.found == "rate":
        return f"{pressure} at {speed} puts down {rate}."
    if setting.found == "speed":
        return f"Walk at {speed} with {pressure} for {rate}."
    if beyond_range(setting.pressure_pa, *tip.range_pa) != 1.0:
        return f"These tips do not give {rate} at {speed}: it would take {pressure}."
    return f"Set {pressure} at {speed} for {rate}."


def _setting(setting: Setting, boom: Boom, system: str) -> Facts:
    jug = POUR_UNITS["fluid_ounce" if system == "us" else "milliliter"]
    flow, minute = setting.nozzle_flow_m3_s, settle(setting.nozzle_flow_m3_s * 60 / jug.size)
    rate, field_rate = (quantity(setting.rate_m3_m2, kind, system) for kind in ("rate", "field_rate"))
    return Facts(
        (
            Fact("", "Rate", f"{rate.text} ({field_rate.text})"),
            Fact("rate", "", rate),
            Fact("field_rate", "", field_rate),
            Fact("speed", "Speed", quantity(setting.speed_m_s, "speed", system)),
            Fact("pressure", "Pressure", quantity(setting.pressure_pa, "pressure", system)),
            Fact("nozzle_flow", "", quantity(flow, "flow", system)),
            Fact("", "One nozzle", f"{format_value(flow, 'flow', system)} ({minute} {jug.symbol}/min)"),
            Fact("boom_flow", "All nozzles", quantity(boom.nozzles.count * flow, "flow", system)),
        )
    )


def _warnings(rig: Rig, boom: Boom, setting: Setting, system: str) -> list[Message]:
    nozzles, made = boom.nozzles, []
    pressure = setting.pressure_pa
    beyond = beyond_range(pressure, *nozzles.range_pa)
    if beyond != 1.0:
        span = range_words(nozzles, system)
        speeds = " to ".join(format_value(limit, "speed", system) for limit in speed_limits(boom, setting.rate_m3_m2))
        way, other = ("lower", "smaller") if beyond < 1 else ("higher", "larger")
        # Q ∝ √P: tips that pass this flow at the limit itself.
        times = beyond**0.5 if beyond > 1 else beyond**-0.5
        made.append(
            f"{format_value(pressure, 'pressure', system)} is {way} than {span}: for this rate keep "
            f"the speed within {speeds}, or take tips at least {times:.2f} times {other}."
        )
    gives = None if rig.pump is None else rig.pump.flow_m3_s(pressure)
    if gives is not None and gives < nozzles.count * setting.nozzle_flow_m3_s * (1 - 1e-9):
        made.append("The pump cannot feed all nozzles at this pressure: see the plan of the pump.")
    if not _SLOWEST_M_S <= setting.speed_m_s <= _FASTEST_M_S:
        made.append(f"{format_value(setting.speed_m_s, 'speed', system)} is unusual for a small sprayer: check it.")
    return [Message(text, "warning") for text in made]


def _around(rig: Rig, boom: Boom, setting: Setting, system: str) -> tuple[Plot, Table, Table]:
    """Plot and table of the rate over speed and pressure; rates within the target's band are marked ✓."""
    speeds, pressures = [setting.speed_m_s * factor for factor in SPEEDS], pressures_of(rig.nozzles)
    rates = rate_table(boom, speeds, pressures)
    unit = {kind: UNITS[system][kind] for kind in ("rate", "speed", "pressure")}

    def cell(rate: float) -> str:
        held = rig.target.low_m3_m2 <= rate <= rig.target.high_m3_m2
        return format_number(rate, "rate", system) + (" ✓" if held else "")

    grid = Table(
        "",
        (
            Column("", "Pressure", unit["pressure"].symbol),
            *(Column("", format_value(speed, "speed", system)) for speed in speeds),
        ),
        tuple(
            (quantity(pressure, "pressure", system), *(cell(float(rate)) for rate in row))
            for pressure, row in zip(pressures, rates, strict=True)
        ),
        title=f"Every speed and pressure, {unit['rate'].symbol}; ✓ within {100 * rig.target.band:.0f} % of the target",
        folded=True,
    )
    machine = Table(
        "rates",
        (Column("pressure", ""), Column("speed", ""), Column("rate", "")),
        tuple(
            (
                quantity(p, "pressure", system),
                quantity(v, "speed", system),
                quantity(float(rates[i, j]), "rate", system),
            )
            for i, p in enumerate(pressures)
            for j, v in enumerate(speeds)
        ),
    )
    return _plot(rig, boom, setting, pressures, system), grid, machine


def _plot(rig: Rig, boom: Boom, setting: Setting, pressures: list[float], system: str) -> Plot:
    unit = UNITS[system]
    speeds = np.linspace(SPEEDS[0] * setting.speed_m_s, SPEEDS[-1] * setting.speed_m_s, _POINTS)
    rates = rate_table(boom, list(speeds), pressures)

    def point(speed: float, rate: float) -> tuple[float, float]:
        return to_user(speed, "speed", system), to_user(rate, "rate", system)

    lines = tuple(
        Series(tuple(point(float(v), float(r)) for v, r in zip(speeds, row, strict=True)), label)
        for row, label in zip(rates, (format_value(p, "pressure", system) for p in pressures), strict=True)
    )
    dot = Series((point(setting.speed_m_s, setting.rate_m3_m2),), "this setting", "dots")
    target = rig.target
    return Plot(
        "rate",
        "Rate over speed, a line for each pressure",
        f"Speed, {unit['speed'].symbol}",
        f"Rate, {unit['rate'].symbol}",
        (*lines, dot),
        band=(to_user(target.low_m3_m2, "rate", system), to_user(target.high_m3_m2, "rate", system)),
        levels=((to_user(target.rate_m3_m2, "rate", system), "target"),),
    )
