"""The rate without a board: what it took to fill the tank again, over the area that was sprayed."""

from __future__ import annotations

from collections.abc import Mapping

from host.documents.document import Document, Fact, Facts, Level, Message, Messages, Section, quantity
from host.errors import BadInputError
from host.plan.area import parse_area
from host.plan.fields import REFILL
from host.plan.inputs import Answers
from host.rig import Rig
from host.units import format_value

_HAIR = 1 + 1e-9


def refill_document(rig: Rig, typed: Mapping[str, str | None], system: str, *, command: bool = False) -> Document:
    """The rate that was put down, and what would bring it to the target.

    Raises WrongEntriesError, and UserError for what belongs to no field.
    """
    answers = Answers(REFILL, typed, command=command)
    volume = answers.quantity("volume", "volume")
    area = answers.read("area", parse_area)
    speed, pressure = answers.quantity("speed", "speed"), answers.quantity("pressure", "pressure")
    for name, what in (("volume", "give what it took to fill up"), ("area", "give what was sprayed")):
        if not answers.given(name):
            answers.wrong(name, f"{answers.where(name)} is missing: {what}.")
    answers.check()
    assert volume is not None and area is not None
    rate, target = volume / area, rig.target
    times = rate / target.rate_m3_m2
    if not 1e-3 < times < 1e3:
        raise BadInputError(
            f"that would be {format_value(rate, 'rate', system)}, over a thousand times off the target: check volume "
            "and area."
        )
    on_target = target.low_m3_m2 / _HAIR <= rate <= target.high_m3_m2 * _HAIR
    off = 100 * (times - 1)
    over = f"{abs(off):.0f} % {'over' if off > 0 else 'under'} the target" if abs(off) >= 0.5 else "as the target"
    answer = f"{format_value(rate, 'rate', system)}, {over}" + (": on target." if on_target else ".")
    wanted, field_rate = quantity(target.rate_m3_m2, "rate", system), quantity(rate, "field_rate", system)
    facts = [
        Fact("rate", "", quantity(rate, "rate", system)),
        Fact("field_rate", "", field_rate),
        Fact("", "Put down", f"{format_value(rate, 'rate', system)} ({field_rate.text})"),
        Fact("target_rate", "Target", wanted),
        Fact("on_target", "", on_target),
    ]
    if speed is not None and not on_target:
        facts.append(Fact("speed", "Speed for the target", quantity(speed * times, "speed", system)))
    if pressure is not None and not on_target:
        # Q ∝ √P at the same speed.
        facts.append(Fact("pressure", "Or pressure for it", quantity(pressure / times**2, "pressure", system)))
    notes = [Message("Fill to the same mark, with the sprayer on the same level spot.")]
    if volume > rig.tank.volume_m3 * _HAIR:
        notes.append(Message("That is more than the tank holds: right only if it was filled several times.", "advice"))
    level: Level = "note" if on_target else "warning"
    section = Section("", "", (Facts(tuple(facts)), Messages(tuple(notes))))
    return Document("refill", f"Rate of {rig.name}, by refill", answer, (section,), level)
