"""Rig file text -> Rig, or one sentence that names the file, the key and what to do."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import Any

from host.errors import BadInputError
from host.formulas import speed_over_course
from host.rig.model import CalibratedPart, Course, Meter, Nozzles, PressureSensor, Pump, Rig, Tank, Target, Tip, Wheel
from host.rig.tables import (
    COURSE,
    METER,
    PRESSURE,
    RIG,
    WHEEL,
    BoomTable,
    CourseTable,
    MeterTable,
    NozzleTable,
    PressureTable,
    PumpTable,
    TipTable,
    WheelTable,
)
from host.schema import Place
from host.toml_text import read_text, toml_tree
from host.units import format_value

FASTEST_M_S, SLOWEST_M_S = 15.0, 0.05


def load_rig(path: str | Path) -> Rig:
    """Read the rig file at `path`. Raises UserError when it cannot be read or does not describe a sprayer."""
    where = f"rig file {path}"
    return rig_from_toml(read_text(Path(path), where), where)


def rig_from_toml(text: str, where: str = "rig file") -> Rig:
    """The rig that `text` describes; `where` names the file in sentences. Raises UserError."""
    place = Place(where)
    read = RIG.read(toml_tree(text, where, "mend it there (text values need quotes)."), place)
    nozzles = _nozzles(read.boom, read.nozzle, place.key("nozzle"))
    return Rig(
        name=read.name,
        units=read.units,
        tank=Tank(read.tank.volume_m3, read.tank.low_m3),
        pump=_pump(read.pump, place.key("pump")) if read.pump else None,
        nozzles=nozzles,
        swath_m=nozzles.count * nozzles.spacing_m if read.boom.swath_m is None else read.boom.swath_m,
        meter=_meter(read.meter),
        pressure=_pressure(read.pressure) if read.pressure else None,
        wheel=_wheel(read.wheel) if read.wheel else None,
        course=_course(read.course, place) if read.course else None,
        target=Target(read.target.rate_m3_m2, read.target.band),
        spray_switch=read.spray_switch,
        toml=text,
        tips=_tips(read.tips, nozzles, place),
        meter_sensor=read.meter.sensor,
        wheel_sensor=read.wheel.sensor if read.wheel else "hall",
        report_interval_ms=None if read.report_interval_s is None else round(1000 * read.report_interval_s),
    )


def parts_from_sections(tree: dict[str, Any], where: str) -> dict[str, CalibratedPart]:
    """The calibrated parts of a rig from a TOML tree that has only their sections, as a calibration card does.

    Keys of the result are fields of Rig: meter, pressure, wheel, course. Raises UserError as for a rig file.
    """
    place = Place(where)
    readers: dict[str, Callable[[Any, Place], CalibratedPart]] = {
        "meter": lambda value, at: _meter(METER.read(value, at)),
        "pressure": lambda value, at: _pressure(PRESSURE.read(value, at)),
        "wheel": lambda value, at: _wheel(WHEEL.read(value, at)),
        "course": lambda value, at: _course(COURSE.read(value, at), at),
    }
    return {name: read(tree[name], place.key(name)) for name, read in readers.items() if name in tree}


def _pump(pump: PumpTable, place: Place) -> Pump:
    points = pump.points
    if points is None:
        assert pump.open_flow_m3_s is not None  # `one_of` has seen to it
        shutoff = pump.shutoff_pressure_pa
        points = ((0.0, pump.open_flow_m3_s), *(() if shutoff is None else ((shutoff, 0.0),)))
    elif any(after[1] > before[1] for before, after in itertools.pairwise(points)):
        raise BadInputError(
            f"{place.key('points')} must fall in flow as the pressure rises: check the row that does not."
        )
    return Pump(points, pump.points is None and len(points) > 1, pump.switch_pressure_pa)


def _tip(tip: NozzleTable, place: Place) -> Tip:
    points = tip.points
    if points is None:
        assert tip.at_pa is not None and tip.flow_m3_s is not None  # `one_of` has seen to it
        points = ((tip.at_pa, tip.flow_m3_s),)
    if any(after[1] <= before[1] for before, after in itertools.pairwise(points)):
        raise BadInputError(f"{place.key('points')} must rise in flow too: check the row that does not.")
    low, high = tip.range_pa or (None, None)
    return Tip(points, low, high, tip.name)


def _nozzles(boom: BoomTable, nozzle: NozzleTable, place: Place) -> Nozzles:
    tip = _tip(nozzle, place)
    of_tip = {each.name: getattr(tip, each.name) for each in fields(tip)}
    return Nozzles(**of_tip, count=boom.nozzles, spacing_m=boom.spacing_m)


def _tips(tables: tuple[TipTable, ...], nozzles: Nozzles, place: Place) -> tuple[Tip, ...]:
    names = [nozzles.name]
    for number, table in enumerate(tables, start=1):
        at = place.key("tip").table(number).key("name")
        if table.name in names:
            raise BadInputError(f'{at} is "{table.name}", as another one is called: give each its own name.')
        names.append(table.name)
    return tuple(_tip(table, place.key("tip").table(number)) for number, table in enumerate(tables, start=1))


def _meter(meter: MeterTable) -> Meter:
    curve = meter.curve
    if curve is None:
        assert meter.factor is not None  # `one_of` has seen to it
        curve = ((0.0, meter.factor),)
    return Meter(curve, meter.uncertainty, meter.caught_hz)


def _pressure(pressure: PressureTable) -> PressureSensor:
    low, high = pressure.span_pa
    zero = pressure.uncertainty * (high - low)
    return PressureSensor(low, high, *pressure.output, zero, pressure.gain_uncertainty, pressure.highest_pa)


def _wheel(wheel: WheelTable) -> Wheel:
    return Wheel(wheel.circumference_m / wheel.pulses_per_turn, wheel.uncertainty, wheel.pulses_per_turn)


def _course(course: CourseTable, place: Place) -> Course:
    speed = speed_over_course(course.distance_m, course.time_s)
    if not SLOWEST_M_S <= speed <= FASTEST_M_S:
        raise BadInputError(
            f"section [course] in {place.file} gives {format_value(speed, 'speed', 'metric')}, outside the plausible "
            "range: check distance and time."
        )
    return Course(speed, course.uncertainty, course.pass_spread, course.distance_m)
