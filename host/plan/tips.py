"""Which tips? What a tip must pass for a rate at a speed and pressure, and what each of the keeper's tips would do."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from host.documents.document import Column, Document, Fact, Facts, Message, Messages, Section, Table, quantity
from host.errors import BadInputError
from host.formulas import application_rate, flow_for_rate, orifice_coefficient, orifice_flow
from host.plan.fields import TIPS
from host.plan.inputs import Answers
from host.plan.rate import Boom, beyond_range
from host.plan.rate_document import read_boom
from host.rig import Rig, Tip
from host.units import BAR_PA, PSI_PA, format_value

# Tips are compared at this pressure; sizes of ISO 10625 are its flow in tenths of a US gallon a minute at 40 psi
# (from memory).
RATED_PA = {"us": 40 * PSI_PA, "metric": 3 * BAR_PA}
_SIZE_AT_PA, _SIZE_M3_S = 40 * PSI_PA, 0.1 * 3.785411784e-3 / 60
SIZES = (1, 1.5, 2, 2.5, 3, 3.5, 4, 5, 6, 8, 10, 15, 20)


@dataclass(frozen=True)
class Choice:
    """What one tip does: the pressure (Pa) at which it gives the rate, and the rate (m³/m²) at the wished pressure.

    `beyond` is 1 within the tip's range, else the pressure over the limit that it passes.
    """

    name: str
    rated_flow_m3_s: float
    pressure_pa: float
    rate_m3_m2: float
    beyond: float


def choose(
    boom: Boom, tips: Mapping[str, Tip], rate_m3_m2: float, speed_m_s: float, pressure_pa: float, rated_pa: float
) -> list[Choice]:
    """Each tip at a rate, speed and wished pressure, the most suitable first: within its range, then nearest."""
    flow = flow_for_rate(rate_m3_m2, speed_m_s, boom.swath_m) / boom.nozzles.count
    water = flow * math.sqrt(boom.specific_gravity)
    choices = []
    for name, tip in tips.items():
        at = tip.pressure_for_flow_pa(water)
        passes = float(tip.flow_m3_s(pressure_pa)) / math.sqrt(boom.specific_gravity)
        rate = application_rate(boom.nozzles.count * passes, speed_m_s, boom.swath_m)
        beyond = beyond_range(at, *tip.range_pa)
        choices.append(Choice(name, float(tip.flow_m3_s(rated_pa)), at, rate, beyond))
    return sorted(choices, key=lambda c: (abs(math.log(c.beyond)), abs(math.log(c.pressure_pa / pressure_pa))))


def tips_document(rig: Rig, typed: Mapping[str, str | None], system: str, *, command: bool = False) -> Document:
    """The flow that tips must have, and each of the keeper's tips.

    Rate, speed and pressure that were not typed are the rig's target, the speed of its course and the reference
    pressure of its tips. Raises WrongEntriesError, and UserError for what belongs to no field.
    """
    answers = Answers(TIPS, typed, command=command)
    rate = answers.quantity("rate", "rate") or rig.target.rate_m3_m2
    speed = answers.quantity("speed", "speed") or (rig.course.speed_m_s if rig.course else None)
    pressure = answers.quantity("pressure", "pressure") or rig.nozzles.reference_pressure_pa
    boom = read_boom(rig, answers)
    if speed is None and not answers.given("speed"):
        answers.wrong("speed", f"{answers.where('speed')} is missing: the rig has no course to take it from.")
    answers.check()
    assert speed is not None
    rated = RATED_PA[system]
    flow = flow_for_rate(rate, speed, boom.swath_m) / boom.nozzles.count
    if not 1e-7 < flow < 1e-3:  # 0.006 to 60 L/min
        raise BadInputError("no tip passes that: check rate, speed and width.")
    needed = orifice_coefficient(flow, pressure, boom.specific_gravity)
    names = {rig.nozzles.name or "on the boom": rig.nozzles} | {tip.name: tip for tip in rig.tips}
    choices = choose(boom, names, rate, speed, pressure, rated)
    messages = _advice(choices, system, pressure)
    return Document(
        "tips",
        f"Tips for {rig.name}",
        _answer(choices[0], orifice_flow(needed, rated), rated, system),
        (
            Section("", "", (Messages(messages, key="warnings"), _needed(rate, speed, pressure, flow, needed, system))),
            Section("", "Your tips", (_table(choices, rated, pressure, system),)),
        ),
        "warning" if choices[0].beyond != 1.0 else "note",
    )


def _answer(best: Choice, rated_flow: float, rated: float, system: str) -> str:
    wanted = f"Tips of {format_value(rated_flow, 'flow', system)} at {format_value(rated, 'pressure', system)}"
    if best.beyond == 1.0:
        return f"{wanted}: {best.name} does it at {format_value(best.pressure_pa, 'pressure', system)}."
    return f"{wanted}: none of yours does it within its range."


def _advice(choices: list[Choice], system: str, pressure: float) -> tuple[Message, ...]:
    best = choices[0]
    if best.beyond == 1.0:
        return ()
    times = best.beyond**0.5 if best.beyond > 1 else best.beyond**-0.5
    way = "larger" if best.beyond > 1 else "smaller"
    at = format_value(best.pressure_pa, "pressure", system)
    text = (
        f"{best.name} would need {at}, out of its range: take tips at least {times:.2f} times {way}, or another speed."
    )
    return (Message(text, "warning", "tips"),)


def _needed(rate: float, speed: float, pressure: float, flow: float, coefficient: float, system: str) -> Facts:
    rated = RATED_PA[system]
    size = orifice_flow(coefficient, _SIZE_AT_PA) / _SIZE_M3_S
    nearest = min(SIZES, key=lambda each: abs(math.log(each / size)))
    standard = f"{nearest:04.1f}".replace(".", "").removesuffix("0") if nearest % 1 else f"{nearest:02.0f}"
    beyond = not SIZES[0] / 1.3 < size < SIZES[-1] * 1.3
    at = format_value(rated, "pressure", system)
    return Facts(
        (
            Fact("rate", "Rate", quantity(rate, "rate", system)),
            Fact("speed", "Speed", quantity(speed, "speed", system)),
            Fact("pressure", "Pressure", quantity(pressure, "pressure", system)),
            Fact("nozzle_flow", "Each tip must pass", quantity(flow, "flow", system)),
            Fact(
                "rated_flow", f"That is, on water at {at}", quantity(orifice_flow(coefficient, rated), "flow", system)
            ),
            Fact("", "Nearest standard size (ISO 10625)", "none" if beyond else standard),
            Fact("standard_size", "", None if beyond else nearest),
        )
    )


def _table(choices: list[Choice], rated: float, pressure: float, system: str) -> Table:
    flow_at = f"Flow at {format_value(rated, 'pressure', system)}"
    columns = (
        Column("name", "Tip"),
        Column("rated_flow", flow_at),
        Column("pressure", "Set"),
        Column("rate", f"Rate at {format_value(pressure, 'pressure', system)}"),
        Column("range", "Range"),
    )
    rows = tuple(
        (
            choice.name,
            quantity(choice.rated_flow_m3_s, "flow", system),
            quantity(choice.pressure_pa, "pressure", system),
            quantity(choice.rate_m3_m2, "rate", system),
            _range_words(choice),
        )
        for choice in choices
    )
    return Table("tips", columns, rows, marked=frozenset(i for i, choice in enumerate(choices) if choice.beyond != 1))


def _range_words(choice: Choice) -> str:
    if choice.beyond == 1.0:
        return "within"
    times = choice.beyond**0.5 if choice.beyond > 1 else choice.beyond**-0.5
    return f"{times:.2f} times too {'small' if choice.beyond > 1 else 'large'}"
