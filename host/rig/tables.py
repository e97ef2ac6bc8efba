"""The tables of a rig file: every key with its kind, the limits of what is believable, its default and its meaning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from firmware_protocol.messages import INTERVAL_RANGE_MS
from host.rig.sensors import SENSORS
from host.schema import Choice, Group, Pair, Points, Quantity, Table, Tables, Text, Whole, YesNo, key

_BAR_PA = 1e5
_FLOW = Quantity("flow", 1e-8, 1e-2)  # m³/s: from a drop to 600 L/min
_PRESSURE = Quantity("pressure", 100.0, 100 * _BAR_PA)
_FACTOR = Quantity("pulses_per_volume", 1e2, 1e8)  # pulses per m³: 0.1 to 100,000 pulses per litre
_UNCERTAINTY = Quantity("fraction", 0.0, 0.5)
_SENSOR = (
    Choice(tuple(SENSORS), name="sensor"),
    "what makes the pulses: " + ", ".join(f'`"{kind}"`' for kind in SENSORS),
)


@dataclass(frozen=True)
class TankTable:
    """[tank]."""

    volume_m3: float = key(Quantity("volume", 1e-4, 20.0), "what the tank holds when full", name="volume")
    low_m3: float | None = key(
        Quantity("volume", 0.0, 20.0),
        "where the live page begins to say that the tank is low; without it 15 % of `volume`",
        name="low",
        default=None,
    )


@dataclass(frozen=True)
class PumpTable:
    """[pump]."""

    points: tuple[tuple[float, float], ...] | None = key(
        Points(Quantity("pressure", 0.0, _PRESSURE.high), Quantity("flow", 0.0, _FLOW.high)),
        "rows of the pump's own table or curve, from low pressure to high",
        default=None,
    )
    open_flow_m3_s: float | None = key(
        _FLOW, "instead of `points`: what the pump delivers with nothing in its way", name="open_flow", default=None
    )
    shutoff_pressure_pa: float | None = key(
        _PRESSURE,
        "with `open_flow`: the pressure at which it delivers nothing with its outlet shut",
        name="shutoff_pressure",
        default=None,
    )
    switch_pressure_pa: float | None = key(
        _PRESSURE,
        "where a pressure switch turns the pump off; no point of its curve",
        name="switch_pressure",
        default=None,
    )


@dataclass(frozen=True, kw_only=True)
class BoomTable:
    """[boom]."""

    nozzles: int = key(Whole(1, 200), "how many nozzles spray")
    spacing_m: float = key(Quantity("length", 0.01, 5.0), "from nozzle to nozzle", name="spacing")
    swath_m: float | None = key(
        Quantity("length", 0.01, 100.0), "the width covered in one pass", name="swath", default=None
    )


@dataclass(frozen=True, kw_only=True)
class NozzleTable:
    """[nozzle]."""

    name: str = key(Text(), 'what you call the tips on the boom, such as `"03 flat fan"`', default="")
    flow_m3_s: float | None = key(
        _FLOW, "flow of one new tip on water, at the pressure `at`", name="flow", default=None
    )
    at_pa: float | None = key(_PRESSURE, "the pressure that belongs to `flow`", name="at", default=None)
    points: tuple[tuple[float, float], ...] | None = key(
        Points(_PRESSURE, _FLOW), "instead of `flow` and `at`: several points of the tip's table", default=None
    )
    range_pa: tuple[float, float] | None = key(
        Pair(Quantity("pressure", 0.0, _PRESSURE.high)),
        "the lowest and highest pressure the tip is made for",
        name="range",
        default=None,
    )


@dataclass(frozen=True, kw_only=True)
class TipTable(NozzleTable):
    """[[tip]]: as [nozzle], and it needs a name."""

    name: str = key(Text(), "what you call this tip; each its own name")


@dataclass(frozen=True, kw_only=True)
class MeterTable:
    """[meter]."""

    factor: float | None = key(_FACTOR, "pulses of the flow meter per volume", default=None)
    curve: tuple[tuple[float, float], ...] | None = key(
        Points(Quantity("frequency", 0.01, 1e5), _FACTOR),
        "instead of `factor`: the factor over the pulse frequency",
        default=None,
    )
    uncertainty: float = key(_UNCERTAINTY, "standard uncertainty of the factor", written="1 %")
    caught_hz: tuple[float, float] | None = key(
        Pair(Quantity("frequency", 0.01, 1e5)),
        "the lowest and highest pulse frequency that it was calibrated at: beyond them it is known less well",
        name="caught",
        default=None,
    )
    sensor: str = key(*_SENSOR, written="hall")


@dataclass(frozen=True, kw_only=True)
class PressureTable:
    """[pressure]."""

    span_pa: tuple[float, float] = key(
        Pair(Quantity("pressure", -_BAR_PA, 1000 * _BAR_PA)),
        "the pressures at the two ends of the transducer's output",
        name="span",
    )
    output: tuple[float, float] = key(
        Pair(Quantity("ratio", -0.5, 1.5)),
        "those two ends as fractions of the supply: 0.5 V and 4.5 V of 5 V",
        written=["10 %", "90 %"],
    )
    uncertainty: float = key(_UNCERTAINTY, "standard uncertainty of the zero, as a fraction of the span", written="1 %")
    gain_uncertainty: float = key(
        _UNCERTAINTY, "standard uncertainty that grows with the pressure, as a fraction of it", written="0 %"
    )
    highest_pa: float | None = key(
        _PRESSURE, "the highest pressure that it was calibrated at", name="highest", default=None
    )


@dataclass(frozen=True, kw_only=True)
class WheelTable:
    """[wheel]."""

    circumference_m: float = key(
        Quantity("length", 0.01, 20.0), "way covered in one turn, loaded as when spraying", name="circumference"
    )
    pulses_per_turn: int = key(Whole(1, 10_000), "magnets or teeth that the sensor sees in one turn")
    uncertainty: float = key(_UNCERTAINTY, "standard uncertainty of the distance", written="1 %")
    sensor: str = key(*_SENSOR, written="hall")


@dataclass(frozen=True, kw_only=True)
class CourseTable:
    """[course]."""

    distance_m: float = key(Quantity("length", 1.0, 5000.0), "length of the timed course", name="distance")
    time_s: float = key(Quantity("time", 1.0, 3600.0), "how long you take for it at spraying pace", name="time")
    uncertainty: float = key(_UNCERTAINTY, "standard uncertainty of your pace in one pass", written="3 %")
    pass_spread: float = key(
        _UNCERTAINTY, "the part of it that differs from pass to pass, so that a run averages it", written="0 %"
    )


@dataclass(frozen=True, kw_only=True)
class TargetTable:
    """[target]."""

    rate_m3_m2: float = key(Quantity("rate", 1e-7, 1e-2), "the wanted volume per area", name="rate")
    band: float = key(
        Quantity("fraction", 0.005, 0.5), "how far from it still counts as on target, to either side", written="10 %"
    )


_ONE_POINT_OR_MORE = (Group(("flow", "at")), Group(("points",)))
METER = Table(MeterTable, one_of=(Group(("factor",)), Group(("curve",))))
PRESSURE = Table(PressureTable)
WHEEL = Table(WheelTable)
COURSE = Table(CourseTable)


@dataclass(frozen=True, kw_only=True)
class RigTable:
    """A whole rig file."""

    name: str = key(Text(), "what you call this sprayer; part of the names of its run files")
    units: Literal["us", "metric"] = key(
        Choice(("us", "metric"), name="system"), 'the units that are shown: `"us"` or `"metric"`', written="us"
    )
    spray_switch: bool = key(YesNo(), "`true` when a spray switch is wired to the board", written=False)
    report_interval_s: float | None = key(
        Quantity("time", 1e-3 * INTERVAL_RANGE_MS[0], 1e-3 * INTERVAL_RANGE_MS[1]),
        "how often the board is asked to report; without it the board goes by itself, every 100 ms",
        name="report_interval",
        default=None,
    )
    tank: TankTable = key(Table(TankTable), "the spray tank")
    pump: PumpTable | None = key(
        Table(PumpTable, one_of=(Group(("points",)), Group(("open_flow",), also=("shutoff_pressure",)))),
        "the pump",
        default=None,
    )
    boom: BoomTable = key(Table(BoomTable), "the boom")
    nozzle: NozzleTable = key(Table(NozzleTable, one_of=_ONE_POINT_OR_MORE), "the nozzles, all of one kind")
    meter: MeterTable = key(METER, "the flow meter")
    pressure: PressureTable | None = key(PRESSURE, "the pressure transducer", default=None)
    wheel: WheelTable | None = key(WHEEL, "the measuring wheel", default=None)
    course: CourseTable | None = key(COURSE, "a timed course, for a rig without a wheel", default=None)
    target: TargetTable = key(Table(TargetTable), "the wanted rate")
    tips: tuple[TipTable, ...] = key(
        Tables(Table(TipTable, one_of=_ONE_POINT_OR_MORE), most=50),
        "tips that you have besides those on the boom",
        name="tip",
        default=(),
    )


RIG = Table(RigTable, one_of=(Group(("wheel",)), Group(("course",))))
