"""Whether the parts of a sprayer fit each other, and what it cannot measure: a message for each thing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from host.documents.document import Message
from host.formulas import application_rate, flow_for_rate, speed_for_rate
from host.plan.pump import AGITATION, MARGIN, Duty, enough_up_to, judge
from host.plan.rate import Boom, beyond_range
from host.rig import Rig
from host.units import format_value

# Pulses a second that the board takes at most from a kind of sensor, on the meter and on the wheel: RIG_FILE.md.
FASTEST_HZ = {"hall": (9_800, 2_500), "encoder": (9_800, 6_000), "reed": (40, 40), "contact": (15, 15)}
_FEW_HZ = 4.0  # of the meter at full flow: below it the rate settles slowly
_LONG_PULSE_M = 0.5
_SLOWEST_M_S, _FASTEST_M_S = 0.3, 7.0  # of a sprayer at work: a slow walk, a tractor on rough ground (common practice)
_COARSE = 0.10  # of the pressure, standard
_WIDTH_OFF = 0.2
_PLAUSIBLE_TANK_S = 60.0


@dataclass(frozen=True)
class Working:
    """The sprayer at work on water: at the pressure of its tips' chart, at its course's speed or at the target's."""

    pressure_pa: float
    speed_m_s: float
    flow_m3_s: float
    rate_m3_m2: float
    timed: bool


def working(rig: Rig) -> Working:
    """How it sprays: without a course at the pressure of the tips' chart and the speed that gives the target; with one
    at its speed and the pressure that gives the target, where the tips are made for that."""
    nozzles, rate = rig.nozzles, rig.target.rate_m3_m2
    pressure = nozzles.reference_pressure_pa
    if rig.course:
        wanted = nozzles.pressure_for_flow_pa(flow_for_rate(rate, rig.course.speed_m_s, rig.swath_m) / nozzles.count)
        if beyond_range(wanted, *nozzles.range_pa) == 1:
            pressure = wanted
    flow = nozzles.count * float(nozzles.flow_m3_s(pressure))
    speed = rig.course.speed_m_s if rig.course else speed_for_rate(flow, rate, rig.swath_m)
    return Working(pressure, speed, flow, application_rate(flow, speed, rig.swath_m), rig.course is not None)


def duty_of(rig: Rig) -> tuple[Duty, float]:
    """What the pump has to do as `plan pump` asks by default, and at which pressure: the highest stated of the tips."""
    duty = Duty(Boom(rig.nozzles, rig.swath_m, 1.0), rig.tank.volume_m3, AGITATION["suspension"], MARGIN)
    return duty, rig.nozzles.highest_stated_pa


def misfits(rig: Rig) -> tuple[Message, ...]:
    """What does not fit, the worst first; nothing when all does."""
    found = [*_rate(rig), *_pump(rig), *_pulses(rig), *_pressure(rig), *_sizes(rig)]
    return tuple(sorted(found, key=lambda message: message.level != "warning"))


def gaps(rig: Rig) -> tuple[Message, ...]:
    """What this sprayer cannot measure."""
    found = []
    if rig.wheel is None:
        found.append(Message("No wheel: speed is not measured, the one of the timed course is assumed.", key="wheel"))
    if rig.pressure is None:
        found.append(
            Message("No transducer: no pressure is shown, and fewer faults can be told apart.", key="pressure")
        )
    if not rig.spray_switch:
        found.append(Message("No spray switch: the flow tells when you spray.", key="switch"))
    if rig.pump is None:
        found.append(Message("The pump is not described: nobody can say whether it is big enough.", key="pump"))
    return tuple(found)


def _rate(rig: Rig) -> Iterator[Message]:
    now, system, target = working(rig), rig.units, rig.target
    aim = speed_for_rate(now.flow_m3_s, target.rate_m3_m2, rig.swath_m)
    shown = format_value(aim, "speed", system)
    if now.timed and not target.low_m3_m2 <= now.rate_m3_m2 <= target.high_m3_m2:
        yield Message(
            f"At the speed of your course it puts out {format_value(now.rate_m3_m2, 'rate', system)}, the target is "
            f"{format_value(target.rate_m3_m2, 'rate', system)}: go at {shown}, or choose other tips or pressure.",
            "warning",
            "rate",
        )
    elif not _SLOWEST_M_S <= aim <= _FASTEST_M_S:
        yield Message(
            f"The target needs {shown} with these tips, and nobody sprays so {'fast' if aim > 1 else 'slowly'}: check "
            "tips, nozzle spacing and target.",
            "warning",
            "rate",
        )
    at = rig.nozzles.reference_pressure_pa
    share = beyond_range(at, *rig.nozzles.range_pa)
    if share != 1:
        yield Message(
            f"The tip's flow is given at {format_value(at, 'pressure', system)}, outside the pressures it "
            "is made for: check both.",
            "warning",
            "range",
        )


def _pump(rig: Rig) -> Iterator[Message]:
    duty, pressure = duty_of(rig)
    verdict = judge(rig.pump, duty, pressure)
    at = format_value(pressure, "pressure", rig.units)
    if verdict in ("enough", "unknown"):
        return
    most = enough_up_to(rig.pump, duty) if rig.pump and rig.pump.known else None
    up_to = "" if most is None else f" It is big enough up to {format_value(most, 'pressure', rig.units)}."
    words = {
        "tight": f"At {at} the pump just covers nozzles and agitation, without a margin for wear.",
        "no agitation": f"At {at} the pump feeds the nozzles but cannot stir the tank as well.",
        "too small": f"The pump cannot hold {at} with all nozzles open.",
        "switched off": f"The pressure switch turns the pump off below {at}.",
    }
    yield Message(words[verdict] + up_to, "warning" if verdict != "tight" else "advice", "pump")


def _pulses(rig: Rig) -> Iterator[Message]:
    now, (most_flow, _) = working(rig), FASTEST_HZ[rig.meter_sensor]
    top = max(rig.nozzles.highest_stated_pa, now.pressure_pa)
    # The factor over frequency bends by a few percent at most: its first point is near enough here.
    pulses = rig.meter.curve[0][1] * rig.nozzles.count * float(rig.nozzles.flow_m3_s(top))
    if pulses > most_flow:
        yield Message(
            f"The meter makes {pulses:,.0f} pulses a second, the board takes {most_flow:,} from a {rig.meter_sensor} "
            "sensor: check the meter's number, or name its sensor.",
            "warning",
            "meter",
        )
    elif pulses < _FEW_HZ:
        yield Message(
            f"The meter makes only {pulses:.1f} pulses a second: the rate follows slowly. Check its number, or take a "
            "smaller meter.",
            "advice",
            "meter",
        )
    if rig.wheel is None:
        return
    turning, most_wheel = now.speed_m_s / rig.wheel.metres_per_pulse, FASTEST_HZ[rig.wheel_sensor][1]
    if turning > most_wheel:
        yield Message(
            f"The wheel makes {turning:,.0f} pulses a second, the board takes {most_wheel:,} from a "
            f"{rig.wheel_sensor} sensor: fewer magnets, or another sensor.",
            "warning",
            "wheel",
        )
    elif rig.wheel.metres_per_pulse > _LONG_PULSE_M:
        way = format_value(rig.wheel.metres_per_pulse, "length", rig.units)
        yield Message(f"The wheel gives one pulse in {way}: more magnets show your speed sooner.", "advice", "wheel")


def _pressure(rig: Rig) -> Iterator[Message]:
    sensor, at, system = rig.pressure, rig.nozzles.reference_pressure_pa, rig.units
    if sensor is None:
        return
    highest = rig.nozzles.highest_stated_pa
    end = format_value(sensor.high_pa, "pressure", system)
    if highest > sensor.high_pa * (1 + 1e-9):
        yield Message(
            f"The transducer ends at {end}, the tips are made for up to {format_value(highest, 'pressure', system)}.",
            "warning" if at > sensor.high_pa else "advice",
            "pressure",
        )
    spread = float(sensor.uncertainty_at(at))
    if spread > _COARSE * at:
        give = format_value(1.96 * spread, "pressure", system)
        yield Message(
            f"The transducer is coarse for this boom: at {format_value(at, 'pressure', system)} it is good to ± "
            f"{give}. Calibrate it, or take one that ends lower.",
            "advice",
            "pressure",
        )


def _sizes(rig: Rig) -> Iterator[Message]:
    system = rig.units
    across = rig.nozzles.count * rig.nozzles.spacing_m
    if abs(rig.swath_m / across - 1) > _WIDTH_OFF:
        yield Message(
            f"One pass is {format_value(rig.swath_m, 'length', system)} wide, nozzles times spacing is "
            f"{format_value(across, 'length', system)}: check which one is right.",
            "advice",
            "swath",
        )
    lasts = rig.tank.volume_m3 / working(rig).flow_m3_s
    if lasts < _PLAUSIBLE_TANK_S:
        yield Message(
            f"The tank is empty after {lasts:.0f} s of spraying: check tank and tips, "
            f"{format_value(rig.tank.volume_m3, 'volume', system)} and "
            f"{format_value(working(rig).flow_m3_s, 'flow', system)}.",
            "advice",
            "tank",
        )
