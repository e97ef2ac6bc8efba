"""Pressure transducer: zero with the pump off, then against a gauge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from host.calibrate.budget import (
    assumed_messages,
    budget_measured,
    budget_section,
    good_to,
    plus_minus_text,
    short,
    widened,
)
from host.calibrate.cards import Card
from host.calibrate.checks import DECIMALS, PRESSURES, Slip, is_beyond, question, size_of
from host.calibrate.counting import Count
from host.calibrate.gauge_fit import SCATTER
from host.calibrate.kinds.counted import CountedSession, Point
from host.calibrate.kinds.gauge import GAUGE_FIELDS, gauge_read
from host.calibrate.kinds.kind import Field, Guided, Job, Kind, Outcome, Way, outcome_of
from host.calibrate.kinds.part import measured_number, rig_percent
from host.calibrate.transducer import PressureCalibration, PressurePoint, calibrate_pressure
from host.calibrate.uncertainty import rectangular, resolution
from host.calibrate.vessels import USUAL_GAUGE, Gauge, gauge_measured
from host.documents.document import (
    Column,
    Document,
    Fact,
    Facts,
    Message,
    Messages,
    Quantity,
    Section,
    Table,
    column,
    quantity,
)
from host.entries import Entries, not_below_zero, read_count
from host.errors import BadInputError
from host.rig import Rig
from host.units import UNITS, format_value, to_user

# Beyond these a transducer is asked about, and their reasons: see CARDS.md. Of the span, but POINT_BEYOND: of what
# gauge and hysteresis make of one point, standard.
SPAN_BEYOND, ZERO_BEYOND, POINT_BEYOND = 0.10, 0.05, 3.0
_GAUGE = Field("gauge", "Gauge showed", "40 psi", "2.5 bar", quantity="pressure")
_COUNTS = Field("counts", "Counts", "512.4", quantity="count")
_WAYS = (
    Guided("count", "Measure now", (_GAUGE,)),
    Way(
        "typed",
        "Type in numbers",
        (_GAUGE, _COUNTS),
        "Enter what the gauge showed, zero for the pump off, and the counts at that.",
        option="point",
    ),
    Way("zero", "", (_COUNTS,), option="zero", each=True),
)
_SETTINGS = (
    *GAUGE_FIELDS,
    Field(
        "full_scale", "Counts at full supply (blank: the board's, or 1023)", "1023", quantity="count", required=False
    ),
)
_MESSAGES = {
    "ready": "Hold one pressure steady (the first time: pump off, boom open). Start.",
    "again": "Hold the next pressure steady, up to the highest that you spray at. Start.",
    "running": "Read the gauge while it is still; two seconds are enough. Then Stop.",
    "stopped": "Enter what the gauge showed, zero for the pump off.",
}


class PressureSession(CountedSession):
    """Zero, and one pressure after another."""

    what = "pressure"
    amount = (_GAUGE,)
    save_word = "Save point"
    messages = _MESSAGES

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self._gauge = USUAL_GAUGE
        self._full_scale: float | None = None

    def settle(self, entries: Entries) -> None:
        """How finely the gauge is read, how far it may be off, and what the board's converter counts to."""
        self._gauge = gauge_read(entries)
        self._full_scale = entries.read("full_scale", _read_full_scale)

    @property
    def full_scale(self) -> float:
        """Counts at full supply."""
        return self.adc_full_scale if self._full_scale is None else self._full_scale

    def _figure(self, count: Count) -> tuple[str, str]:
        return "–" if count.mean_counts is None else f"{count.mean_counts:.1f}", "counts, mean since you started"

    def _guided(self, entries: Entries) -> Point:
        pressure = _shown(entries)
        entries.check()
        assert pressure is not None
        return Point(0, None, self.counting.take().mean_counts, pressure)

    def _typed(self, way: str, entries: Entries) -> Point:
        pressure = 0.0 if way == "zero" else _shown(entries)
        counts = entries.need("counts", lambda text: read_count(text, "The counts"), "Enter the counts.")
        entries.check()
        assert pressure is not None and counts is not None
        return Point(0, None, counts, pressure)

    def _saved(self, point: Point) -> str:
        return f"Point {len(self.taken)} saved: {point.mean_counts or 0.0:.1f} counts."

    def _points(self) -> list[PressurePoint]:
        return [PressurePoint(point.amount, point.mean_counts or 0.0) for point in self.taken]

    def points(self) -> Table:
        """Pressures and counts."""
        system = self.job.rig.units
        rows = tuple(
            (number, quantity(point.pressure_pa, "pressure", system), f"{point.counts:.1f}")
            for number, point in enumerate(self._points(), start=1)
        )
        return Table("", (Column("", "Point"), column("", "Gauge", "pressure", system), Column("", "Counts")), rows)

    def outcome(self) -> Outcome:
        """Zero and span, from the active calibration's where only the zero was set."""
        rig, points = self.job.rig, self._points()
        assert rig.pressure is not None
        result = calibrate_pressure(points, rig.pressure, self.full_scale, self._gauge, self.job.source("pressure"))
        document = pressure_document(result, points, self.full_scale, rig.units)
        measured = pressure_measured(result, points, self.full_scale)
        questions = pressure_questions(result, points, self._gauge, self.job)
        return outcome_of(document, pressure_section(result), measured, questions)


def _shown(entries: Entries) -> float | None:
    return entries.need("gauge", not_below_zero("pressure", "The gauge"), "Enter what the gauge showed.")


def _read_full_scale(text: str) -> float:
    full_scale = read_count(text, "The counts at full supply")
    if not full_scale > 1:
        raise BadInputError(
            f"the counts at full supply are {text}: give what the converter counts to, 1023 for ten bits."
        )
    return full_scale


def pressure_document(
    result: PressureCalibration, points: Sequence[PressurePoint], full_scale: float, system: str
) -> Document:
    """The result as it is told: span, each point against it, where a reading counts as a wiring fault."""
    sensor, unit = result.sensor, UNITS[system]["pressure"]
    low, high = (format_value(value, "pressure", system) for value in (sensor.low_pa, sensor.high_pa))
    ends = (100 * sensor.low_fraction, 100 * sensor.high_fraction)
    open_below, short_above = sensor.open_below * full_scale, sensor.short_above * full_scale
    facts = Facts(
        (
            Fact("low", "", quantity(sensor.low_pa, "pressure", system)),
            Fact("high", "", quantity(sensor.high_pa, "pressure", system)),
            Fact("low_percent_of_supply", "", ends[0]),
            Fact("high_percent_of_supply", "", ends[1]),
            Fact("wiring_fault_below_counts", "", open_below),
            Fact("wiring_fault_above_counts", "", short_above),
        )
    )
    columns = (
        Column("point", "Point"),
        column("pressure", "Gauge", "pressure", system),
        Column("counts", "Counts"),
        Column("off", "Off by", unit.symbol),
    )
    rows = tuple(
        (
            number,
            quantity(point.pressure_pa, "pressure", system),
            Quantity(f"{point.counts:.1f}", point.counts),
            _off(residual, system),
        )
        for number, (point, residual) in enumerate(zip(points, result.residuals_pa, strict=True), start=1)
    )
    wiring = f"Readings below {open_below:.0f} or above {short_above:.0f} counts are treated as a wiring fault."
    said = (Message(text, "advice") for text in result.remarks)
    messages = Messages((*said, *assumed_messages(result.uncertainty), Message(wiring)))
    sections = (
        Section("", "", (facts, Table("points", columns, rows), messages)),
        budget_section(result.uncertainty, "pressure", system),
    )
    answer = f"{low} at {ends[0]:.0f} % and {high} at {ends[1]:.0f} % of the supply"
    good = good_to(result.uncertainty, "pressure", system)
    return Document("pressure", "Pressure transducer", f"{answer}, good to {good}", sections)


def pressure_questions(
    result: PressureCalibration, points: Sequence[PressurePoint], gauge: Gauge, job: Job
) -> list[str]:
    """What is odd about the span and the zero, beside those in use, and about the points."""
    before, now, system = job.rig.pressure, result.sensor, job.rig.units
    assert before is not None
    asked = []
    ratio = (now.high_pa - now.low_pa) / (before.high_pa - before.low_pa)
    span = abs(before.high_pa - before.low_pa)
    slips = (*PRESSURES, *DECIMALS, Slip(4.0, "a full scale of twelve bits for counts of ten"))
    if is_beyond(ratio, SPAN_BEYOND):
        statement = f"The span is {size_of(ratio, 'more', 'less')} than that of {job.source('pressure')}"
        asked.append(question(statement, ratio, slips, "check gauge and counts, and the range in the rig file"))
    else:
        no_pressure = now.low_fraction - now.low_pa * (now.high_fraction - now.low_fraction) / (
            now.high_pa - now.low_pa
        )
        moved = float(before.pressure_pa(no_pressure, 1.0))
        if abs(moved) > ZERO_BEYOND * span:
            shown = format_value(moved, "pressure", system)
            asked.append(
                f"Zero has moved by {shown} from {job.source('pressure')}: was the pump off and the boom open?"
            )
    usual = math.hypot(rectangular(gauge.accuracy_pa), resolution(gauge.step_pa), SCATTER * span)
    worst = max(range(len(points)), key=lambda index: abs(result.residuals_pa[index]))
    if abs(result.residuals_pa[worst]) > POINT_BEYOND * usual:
        off = format_value(abs(result.residuals_pa[worst]), "pressure", system)
        asked.append(f"Point {worst + 1} lies {off} off the line, more than gauge and transducer explain: mistyped?")
    return asked


def _off(residual_pa: float, system: str) -> Quantity:
    unit = UNITS[system]["pressure"]
    value = to_user(residual_pa, "pressure", system)
    return Quantity(f"{value:+.2f}", value, unit.symbol, unit.slug)


def pressure_section(result: PressureCalibration) -> dict[str, Any]:
    """Section [pressure] of the rig."""
    sensor = result.sensor
    return {
        "span": [f"{sensor.low_pa:.7g} Pa", f"{sensor.high_pa:.7g} Pa"],
        "output": [f"{100 * sensor.low_fraction:.7g} %", f"{100 * sensor.high_fraction:.7g} %"],
        "uncertainty": rig_percent(sensor.uncertainty_pa / (sensor.high_pa - sensor.low_pa)),
        "gain_uncertainty": rig_percent(sensor.gain_uncertainty),
        **({} if sensor.highest_pa is None else {"highest": f"{sensor.highest_pa:.7g} Pa"}),
    }


def pressure_measured(
    result: PressureCalibration, points: Sequence[PressurePoint], adc_full_scale: float
) -> dict[str, Any]:
    """Points and residuals in kPa, for the card."""
    return budget_measured(result.uncertainty, "kPa", 1e-3) | {
        "adc_full_scale": short(adc_full_scale),
        "gauge": gauge_measured(result.gauge),
        "remarks": list(result.remarks),
        "points": [
            {"pressure_kPa": short(p.pressure_pa / 1e3), "counts": short(p.counts), "residual_kPa": round(r / 1e3, 4)}
            for p, r in zip(points, result.residuals_pa, strict=True)
        ],
    }


def _fits(rig: Rig) -> str:
    return "" if rig.pressure else "the rig file has no [pressure] section: add the transducer's span to it first."


def _plus_minus(rig: Rig, card: Card | None) -> str:
    assert rig.pressure is not None
    on_card = measured_number(card, "expanded_kPa")
    pascal = widened(float(rig.pressure.uncertainty_at(rig.pressure.high_pa))) if on_card is None else on_card * 1e3
    return plus_minus_text(pascal, "pressure", rig.units)


KIND = Kind(
    name="pressure",
    title="Pressure",
    summary="transducer counts against a gauge",
    ways=_WAYS,
    settings=_SETTINGS,
    session=PressureSession,
    fits=_fits,
    plus_minus=_plus_minus,
)
