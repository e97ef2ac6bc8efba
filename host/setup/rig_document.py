"""A sprayer as a result: what it puts out, what does not fit, what it cannot measure, its parts, their accuracy."""

from __future__ import annotations

from collections.abc import Sequence

from host.calibrate.cards import Card
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import Kind
from host.calibrate.status import Status, calibration_status
from host.documents.document import Column, Document, Fact, Facts, Message, Messages, Section, Table, Value, quantity
from host.documents.words import format_day, sentence
from host.plan.pump import judge
from host.rig import Meter, Nozzles, PressureSensor, Rig
from host.setup.fit import duty_of, gaps, misfits, working
from host.units import format_value, to_user

_PUMP = {
    "enough": "big enough, with the margin",
    "tight": "just big enough, without the margin",
    "no agitation": "too small to stir the tank as well",
    "too small": "too small for this pressure",
    "switched off": "turned off by its switch below this pressure",
    "unknown": "not known well enough to say",
}


def rig_document(
    rig: Rig,
    cards: Sequence[Card] = (),
    *,
    kinds: Sequence[Kind] = KINDS,
    due: str = "",
    bringup: str = "",
) -> Document:
    """Everything that is known of a rig; `rig` has the cards applied.

    `due` says when a calibration is due, `bringup` how the last bring-up of its board came out; both may be empty.
    """
    wrong, missing = misfits(rig), gaps(rig)
    warned = any(message.level == "warning" for message in wrong)
    return Document(
        "rig",
        rig.name,
        answer_of(rig),
        (
            Section("fit", "What does not fit" if wrong else "", (Messages(wrong or (_FITS,)),)),
            *([Section("gaps", "What it cannot measure", (Messages(missing),))] if missing else []),
            *_parts(rig),
            _accuracy(rig, cards, kinds, due),
            Section("board", "Board", (Facts((Fact("bringup", "Last bring-up", bringup or "none yet"),)),)),
        ),
        "warning" if warned else "note",
    )


_FITS = Message("All parts fit each other.")


def answer_of(rig: Rig) -> str:
    """What this sprayer puts out, in one sentence."""
    now, system = working(rig), rig.units
    rate, pressure, speed = (
        format_value(value, kind, system)
        for value, kind in ((now.rate_m3_m2, "rate"), (now.pressure_pa, "pressure"), (now.speed_m_s, "speed"))
    )
    return f"This sprayer puts out {rate} at {pressure} and {speed}."


def _parts(rig: Rig) -> tuple[Section, ...]:
    system, target = rig.units, rig.target
    return (
        Section("boom", "Boom", _boom(rig.nozzles, rig.swath_m, system)),
        Section(
            "target",
            "Target",
            (
                Facts(
                    (
                        Fact("rate", "Rate", quantity(target.rate_m3_m2, "rate", system)),
                        Fact("field_rate", "The same", quantity(target.rate_m3_m2, "field_rate", system)),
                        Fact("low", "On target from", quantity(target.low_m3_m2, "rate", system)),
                        Fact("high", "Up to", quantity(target.high_m3_m2, "rate", system)),
                    )
                ),
            ),
        ),
        Section(
            "tank",
            "Tank",
            (
                Facts(
                    (
                        Fact("holds", "Holds", quantity(rig.tank.volume_m3, "volume", system)),
                        Fact("area", "Area per tank", quantity(rig.tank.volume_m3 / target.rate_m3_m2, "area", system)),
                    )
                ),
            ),
        ),
        Section("pump", "Pump", _pump(rig)),
        Section("meter", "Flow meter", _meter(rig.meter, system)),
        Section("pressure", "Pressure transducer", _pressure(rig.pressure, system)),
        Section("travel", "Travel", (Facts(_travel(rig)),)),
        Section("switch", "Spray switch", (Facts((Fact("wired", "Wired", rig.spray_switch),)),)),
        *([Section("tips", "Other tips", (_tips(rig),))] if rig.tips else []),
    )


def _rows(key: str, title: str, kinds: tuple[str, str], points: Sequence[tuple[float, float]], system: str) -> Table:
    names = {"pressure": "At", "flow": "Gives", "frequency": "Pulses", "pulses_per_volume": "Factor"}
    return Table(
        key,
        tuple(Column(kind, names[kind]) for kind in kinds),
        tuple((quantity(a, kinds[0], system), quantity(b, kinds[1], system)) for a, b in points),
        title=title,
    )


def _boom(nozzles: Nozzles, swath_m: float, system: str) -> tuple[Facts, Table]:
    facts: list[Fact] = [
        Fact("nozzles", "Nozzles", nozzles.count),
        Fact("spacing", "From nozzle to nozzle", quantity(nozzles.spacing_m, "spacing", system)),
        Fact("swath", "Width of one pass", quantity(swath_m, "length", system)),
    ]
    if nozzles.name:
        facts.append(Fact("tip", "Tip", nozzles.name))
    if nozzles.min_pressure_pa is not None and nozzles.max_pressure_pa is not None:
        low, high = (quantity(p, "pressure", system) for p in (nozzles.min_pressure_pa, nozzles.max_pressure_pa))
        facts += [Fact("pressure_low", "Made for, from", low), Fact("pressure_high", "Made for, up to", high)]
    rows = _rows("tip_points", "Flow of one tip", ("pressure", "flow"), nozzles.points, system)
    return Facts(tuple(facts)), rows


def _pump(rig: Rig) -> tuple[Facts | Table, ...]:
    pump, system = rig.pump, rig.units
    if pump is None:
        return (Facts((Fact("verdict", "Big enough?", "not described"),)),)
    duty, pressure = duty_of(rig)
    need = duty.need(pressure)
    facts = [
        Fact("verdict", "Big enough?", _PUMP[judge(pump, duty, pressure)]),
        Fact("pressure", "At", quantity(pressure, "pressure", system)),
        Fact("need_with_margin", "Needed, with agitation and margin", quantity(need.with_margin_m3_s, "flow", system)),
        Fact("gives", "Gives", quantity(pump.flow_m3_s(pressure) if pump.known else None, "flow", system)),
    ]
    if pump.switch_pressure_pa is not None:
        facts.append(Fact("switch", "Switch turns it off at", quantity(pump.switch_pressure_pa, "pressure", system)))
    return Facts(tuple(facts)), _rows("points", "Flow of the pump", ("pressure", "flow"), pump.points, system)


def _meter(meter: Meter, system: str) -> tuple[Facts | Table, ...]:
    if len(meter.curve) == 1:
        return (Facts((Fact("factor", "Factor", quantity(meter.curve[0][1], "pulses_per_volume", system)),)),)
    return (_rows("curve", "Factor over frequency", ("frequency", "pulses_per_volume"), meter.curve, system),)


def _pressure(sensor: PressureSensor | None, system: str) -> tuple[Facts, ...]:
    if sensor is None:
        return (Facts((Fact("fitted", "Fitted", False),)),)
    volts = [f"{5 * share:.2f}".rstrip("0").rstrip(".") for share in (sensor.low_fraction, sensor.high_fraction)]
    return (
        Facts(
            (
                Fact("fitted", "Fitted", True),
                Fact("low", "From", quantity(sensor.low_pa, "pressure", system)),
                Fact("high", "Up to", quantity(sensor.high_pa, "pressure", system)),
                Fact("output", "Output of 5 V", f"{volts[0]} to {volts[1]} V"),
            )
        ),
    )


def _travel(rig: Rig) -> tuple[Fact, ...]:
    """The wheel, or the speed of a course that stands in for one."""
    system = rig.units
    if rig.wheel is None:
        speed = rig.course.speed_m_s if rig.course else None
        return (Fact("course_speed", "No wheel: speed of your course", quantity(speed, "speed", system)),)
    pulse = to_user(rig.wheel.metres_per_pulse, "spacing", system)
    turn = rig.wheel.metres_per_pulse * rig.wheel.pulses_per_turn
    way: Value = quantity(rig.wheel.metres_per_pulse, "spacing", system, decimals=2 if pulse >= 1 else 3)
    return (
        Fact("pulse", "One pulse of the wheel", way),
        Fact("turn", "One turn", quantity(turn, "spacing", system)),
    )


def _tips(rig: Rig) -> Table:
    rows = tuple(
        (tip.name, quantity(tip.reference_pressure_pa, "pressure", rig.units),
         quantity(tip.points[len(tip.points) // 2][1], "flow", rig.units))
        for tip in rig.tips
    )  # fmt: skip
    return Table(
        "tips", (Column("name", "Tip"), Column("pressure", "At"), Column("flow", "Gives")), rows, "Tips at hand"
    )


def _accuracy(rig: Rig, cards: Sequence[Card], kinds: Sequence[Kind], due: str) -> Section:
    rows = tuple(
        (status.title, _source(status), status.plus_minus or "–") for status in calibration_status(rig, cards, kinds)
    )
    columns = (Column("part", "Part"), Column("from", "From"), Column("plus_minus", "± for 95 %"))
    said = Messages((Message(f"Calibration due: {sentence(due)}", key="due"),) if due else ())
    return Section("accuracy", "Accuracy", (Table("parts", columns, rows, "How well each part is known"), said))


def _source(status: Status) -> str:
    if status.made is not None:
        return f"card of {format_day(status.made, time=False)}"
    return "rig file" if status.plus_minus else "none yet"
