"""A sprayer in words and figures, in its own units."""

from __future__ import annotations

from host.rig.model import Meter, Nozzles, PressureSensor, Pump, Rig
from host.units import UNITS, format_value, to_user

Rows = list[tuple[str, str]]


def describe(rig: Rig) -> list[tuple[str, Rows]]:
    """Parts of the sprayer, each with named figures: ("Tank", [("Holds", "25.00 gal"), …])."""
    system, target = rig.units, rig.target
    rate, field_rate = (format_value(target.rate_m3_m2, kind, system) for kind in ("rate", "field_rate"))
    return [
        ("Boom", _boom(rig.nozzles, rig.swath_m, system)),
        (
            "Target",
            [
                ("Rate", f"{rate} ({field_rate})"),
                ("On target", _span(target.low_m3_m2, target.high_m3_m2, "rate", system)),
            ],
        ),
        (
            "Tank",
            [
                ("Holds", format_value(rig.tank.volume_m3, "volume", system)),
                ("Covers at the target", format_value(rig.tank.volume_m3 / target.rate_m3_m2, "area", system)),
            ],
        ),
        ("Pump", _pump(rig.pump, system)),
        ("Flow meter", _meter(rig.meter, system)),
        ("Pressure transducer", _pressure(rig.pressure, system)),
        ("Travel", _travel(rig)),
        ("Spray switch", [("Wired", "yes" if rig.spray_switch else "no: spraying is told by the flow")]),
    ]


def _boom(nozzles: Nozzles, swath_m: float, system: str) -> Rows:
    rows = [
        ("Nozzles", f"{nozzles.count}, {format_value(nozzles.spacing_m, 'spacing', system)} apart"),
        ("Swath", format_value(swath_m, "length", system)),
    ]
    for pressure, flow in nozzles.points:
        at = format_value(pressure, "pressure", system)
        rows.append((f"One nozzle at {at}", format_value(flow, "flow", system)))
    if nozzles.min_pressure_pa is not None and nozzles.max_pressure_pa is not None:
        rows.append(("Made for", _span(nozzles.min_pressure_pa, nozzles.max_pressure_pa, "pressure", system)))
    return rows


def _pump(pump: Pump | None, system: str) -> Rows:
    if pump is None:
        return [("Not described", "so no plan can say whether it is big enough")]
    rows = [
        (f"Flow at {format_value(pressure, 'pressure', system)}", format_value(flow, "flow", system))
        for pressure, flow in pump.points
    ]
    if pump.switch_pressure_pa is not None:
        rows.append(("Switch turns it off at", format_value(pump.switch_pressure_pa, "pressure", system)))
    return rows


def _meter(meter: Meter, system: str) -> Rows:
    if len(meter.curve) == 1:
        return [("Factor", format_value(meter.curve[0][1], "pulses_per_volume", system))]
    return [
        (f"Factor at {format_value(hz, 'frequency', system)}", format_value(factor, "pulses_per_volume", system))
        for hz, factor in meter.curve
    ]


def _pressure(sensor: PressureSensor | None, system: str) -> Rows:
    if sensor is None:
        return [("None", "the live page shows no pressure, and fewer faults can be told apart")]
    return [
        ("Span", _span(sensor.low_pa, sensor.high_pa, "pressure", system)),
        ("Over, of its supply", _span(sensor.low_fraction, sensor.high_fraction, "fraction", system)),
    ]


def _travel(rig: Rig) -> Rows:
    """The wheel, or the pace that stands in for one."""
    if rig.wheel is None:
        pace = rig.course.speed_m_s if rig.course else None
        return [("No wheel: pace of a timed course", format_value(pace, "speed", rig.units))]
    unit = UNITS[rig.units]["spacing"].symbol  # the length's own unit is too coarse for one pulse
    return [("Wheel, one pulse", f"{to_user(rig.wheel.metres_per_pulse, 'spacing', rig.units):.3f} {unit}")]


def _span(low: float, high: float, kind: str, system: str) -> str:
    unit = UNITS[system][kind]
    return f"{to_user(low, kind, system):.{unit.decimals}f} to {format_value(high, kind, system)}"
