"""What came of a calibration, in the words and tables of the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from host.calibrate.boom import FAULT, FLAG, BoomTest
from host.calibrate.boom_guide import NozzleCatch
from host.calibrate.meter import MeterCalibration, MeterCatch
from host.calibrate.transducer import PressureCalibration, PressurePoint
from host.calibrate.travel import CourseCalibration, WheelCalibration
from host.calibrate.uncertainty import Combined
from host.rig import Rig
from host.units import UNITS, format_value, to_user


@dataclass(frozen=True)
class Rows:
    """A table: `marked` are the rows to be looked at."""

    headings: list[str]
    rows: list[list[str]]
    marked: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Answer:
    """The result in one line, what is known about it, tables, and sentences that ask for something."""

    headline: str
    about: list[str] = field(default_factory=list)
    tables: list[Rows] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def meter_taken(catches: Sequence[MeterCatch], system: str) -> Rows:
    """Pulses, volumes and vessels, before anything is made of them."""
    rows = [
        [str(n), str(one.pulses), f"{to_user(one.volume_m3, 'volume', system):.3f}", one.vessel.name]
        for n, one in enumerate(catches, start=1)
    ]
    return Rows(["Catch", "Pulses", UNITS[system]["volume"].symbol, "By"], rows)


def pressure_taken(points: Sequence[PressurePoint], system: str) -> Rows:
    """Pressures and counts."""
    unit = UNITS[system]["pressure"]
    rows = [
        [str(n), f"{to_user(p.pressure_pa, 'pressure', system):.{unit.decimals}f}", f"{p.counts:.1f}"]
        for n, p in enumerate(points, start=1)
    ]
    return Rows(["Point", unit.symbol, "Counts"], rows)


def passes_taken(what: str, values: Sequence[str]) -> Rows | None:
    """What each pass gave; None before the first."""
    return Rows(["Pass", what], [[str(n), value] for n, value in enumerate(values, start=1)]) if values else None


def boom_taken(rounds: Sequence[Sequence[NozzleCatch]], system: str) -> Rows:
    """What each nozzle gave at each pressure."""
    pressure, catch = (UNITS[system][kind] for kind in ("pressure", "catch"))
    rows = [
        [
            f"{n} of catch {number}",
            f"{to_user(one.pressure_pa, 'pressure', system):.{pressure.decimals}f}",
            f"{one.duration_s:.1f}",
            f"{to_user(one.amount.volume_m3, 'catch', system):.{catch.decimals}f}",
        ]
        for number, caught in enumerate(rounds, start=1)
        for n, one in enumerate(caught, start=1)
    ]
    return Rows(["Nozzle", pressure.symbol, "s", catch.symbol], rows)


def _known_to(combined: Combined, per_unit: float, unit: str) -> str:
    parts = ", ".join(f"{part.name} {per_unit * part.standard:.2g} {unit}" for part in combined.components)
    return (
        f"Expanded uncertainty ±{per_unit * combined.expanded:.2g} {unit} (95 %, k = {combined.coverage:.2f}). "
        f"Standard uncertainties: {parts}."
    )


def meter_answer(result: MeterCalibration, catches: Sequence[MeterCatch], system: str) -> Answer:
    """Factor or curve, uncertainty, range, residual of each catch; an outlier is marked and called one."""
    unit = "pulses_per_volume"
    levels = [format_value(factor, unit, system) for _, factor in result.curve]
    if len(result.curve) > 1:
        pairs = zip(levels, result.curve, strict=True)
        headline = ", ".join(f"{level} at {hz:.0f} Hz" for level, (hz, _) in pairs)
    else:
        headline = levels[0]
    about = [_known_to(result.uncertainty, 100.0, "%")]
    if result.range_hz is not None:
        about.append(f"Holds from {result.range_hz[0]:.1f} to {result.range_hz[1]:.1f} Hz, where it was caught.")
    rows = [
        [
            f"{n + 1}{' outlier' if n in result.outliers else ''}",
            str(one.pulses),
            f"{to_user(one.volume_m3, 'volume', system):.3f}",
            "–" if one.frequency_hz is None else f"{one.frequency_hz:.1f}",
            f"{100 * residual:+.2f}",
        ]
        for n, (one, residual) in enumerate(zip(catches, result.residuals, strict=True))
    ]
    headings = ["Catch", "Pulses", UNITS[system]["volume"].symbol, "Hz", "Off by %"]
    return Answer(headline, about, [Rows(headings, rows, frozenset(result.outliers))], list(result.remarks))


def pressure_answer(
    result: PressureCalibration, points: Sequence[PressurePoint], full_scale: float, system: str
) -> Answer:
    """Span, uncertainty, where it is not believed, residual of each point."""
    sensor, unit = result.sensor, UNITS[system]["pressure"]
    low, high = (format_value(value, "pressure", system) for value in (sensor.low_pa, sensor.high_pa))
    about = [
        _known_to(result.uncertainty, unit.per_si, unit.symbol),
        f"Below {sensor.open_below * full_scale:.0f} and above {sensor.short_above * full_scale:.0f} counts it is not "
        "believed: wire open or shorted.",
    ]
    rows = [
        [
            str(n),
            f"{to_user(p.pressure_pa, 'pressure', system):.{unit.decimals}f}",
            f"{p.counts:.1f}",
            f"{to_user(residual, 'pressure', system):+.2f}",
        ]
        for n, (p, residual) in enumerate(zip(points, result.residuals_pa, strict=True), start=1)
    ]
    table = Rows(["Point", unit.symbol, "Counts", f"Off by {unit.symbol}"], rows)
    span = f"{low} at {100 * sensor.low_fraction:.0f} %, {high} at {100 * sensor.high_fraction:.0f} % of the supply"
    return Answer(span, about, [table], list(result.remarks))


def wheel_answer(result: WheelCalibration, pulses: Sequence[int], per_turn: int, system: str) -> Answer:
    """Way per pulse and circumference, uncertainty, residual of each pass."""
    turn = format_value(result.metres_per_pulse * per_turn, "length", system)
    rows = [
        [str(n), str(count), f"{100 * residual:+.2f}"]
        for n, (count, residual) in enumerate(zip(pulses, result.residuals, strict=True), start=1)
    ]
    return Answer(
        f"{1e3 * result.metres_per_pulse:.2f} mm per pulse",
        [
            f"Circumference {turn} at {per_turn} pulses per turn ({1e3 * result.metres_per_pulse * per_turn:.1f} mm).",
            _known_to(result.uncertainty, 100.0, "%"),
        ],
        [Rows(["Pass", "Pulses", "Off by %"], rows)],
        list(result.remarks),
    )


def course_answer(result: CourseCalibration, times_s: Sequence[float], system: str) -> Answer:
    """Pace, spread of the passes, uncertainty of one more of them."""
    assumed = "A run takes this pace as walked: it is assumed there, not measured."
    about = [assumed, _known_to(result.uncertainty, 100.0, "%")]
    if result.spread is not None:
        about.insert(0, f"Your passes vary by {100 * result.spread:.1f} % (standard deviation).")
    rows = [
        [str(n), f"{time:.1f}", f"{100 * residual:+.1f}"]
        for n, (time, residual) in enumerate(zip(times_s, result.residuals, strict=True), start=1)
    ]
    headline = f"{format_value(result.speed_m_s, 'speed', system)} ({result.speed_m_s:.3f} m/s)"
    return Answer(headline, about, [Rows(["Pass", "s", "Off by %"], rows)], list(result.remarks))


def boom_answer(test: BoomTest, rig: Rig, speed_m_s: float | None) -> Answer:
    """Each nozzle at each pressure against the mean and the rating, and what does not fit together."""
    system = rig.units
    remarks = [finding.sentence(system) for finding in test.findings]
    about, tables = [], []
    target = format_value(rig.target.rate_m3_m2, "rate", system)
    for number, result in enumerate(test.results, start=1):
        at = format_value(result.catch.pressure_pa, "pressure", system)
        mean = format_value(result.mean_flow_m3_s, "flow", system)
        vary = "" if result.variation is None else f", coefficient of variation {100 * result.variation:.1f} %"
        seconds = f"{result.catch.duration_s:.3g} s"
        timed = f"for {seconds}" if result.catch.times_s is None else f"{seconds} each on average"
        about.append(f"Catch {number} at {at}, {timed}: mean {mean}{vary}.")
        reach = f"{target} needs {format_value(result.speed_for_target_m_s, 'speed', system)} at this pressure"
        if speed_m_s is not None and result.rate_m3_m2 is not None:
            pace = format_value(speed_m_s, "speed", system)
            about.append(f"Rate at {pace}: {format_value(result.rate_m3_m2, 'rate', system)}.")
            reach += f", or {format_value(result.pressure_for_target_pa, 'pressure', system)} at {pace}"
        about.append(reach + ".")
        rows, marked = [], set()
        for place, one in enumerate(result.nozzles):
            sign = {FLAG: "over 5 %", FAULT: "FAULT over 10 %"}.get(one.verdict, "ok")
            if one.worn:
                sign += ", worn"
            if sign != "ok":
                marked.add(place)
            rows.append(
                [
                    str(one.number),
                    f"{to_user(one.flow_m3_s, 'flow', system):.{UNITS[system]['flow'].decimals}f}",
                    f"{100 * one.deviation:+.1f}",
                    f"{100 * one.wear:+.1f}",
                    sign,
                ]
            )
        headings = ["Nozzle", UNITS[system]["flow"].symbol, "% of mean", "% of rating", "Verdict"]
        tables.append(Rows(headings, rows, frozenset(marked)))
    bad = sum(len(one.marked) for one in tables)
    nozzles = f"{bad} reading{'' if bad == 1 else 's'} to be looked at" if bad else "all nozzles within 5 %"
    law = "what was caught does not fit together" if test.findings else "nothing contradicts the rating"
    if len(test.results) > 1 and not test.findings:
        law = "the catches follow the square-root law and the rating"
    return Answer(f"{nozzles[:1].upper()}{nozzles[1:]}; {law}", about, tables, remarks)
