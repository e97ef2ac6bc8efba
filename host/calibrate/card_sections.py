"""Calibration results in the words of the rig file, and as a record for the card."""

from __future__ import annotations

from typing import Any

from host.calibrate.boom import BoomTest, Reading
from host.calibrate.meter import MeterCalibration, MeterCatch
from host.calibrate.transducer import PressureCalibration, PressurePoint
from host.calibrate.travel import CourseCalibration, WheelCalibration
from host.calibrate.uncertainty import Combined
from host.calibrate.vessels import Gauge
from host.rig import Rig

# Seven significant digits: far below any uncertainty here, so that nothing is lost between result and card.
_DIGITS = ".7g"


def meter_section(result: MeterCalibration) -> dict[str, Any]:
    """Section [meter]."""
    section: dict[str, Any] = {"uncertainty": f"{100 * result.uncertainty.standard:.3g} %"}
    if result.range_hz is not None:
        section["caught"] = [f"{hz:{_DIGITS}} Hz" for hz in (result.range_hz[0] * 0.999, result.range_hz[1] * 1.001)]
    if len(result.curve) == 1:
        return {"factor": f"{result.curve[0][1] / 1e3:{_DIGITS}} pulses/L", **section}
    return {"curve": [[f"{hz:{_DIGITS}} Hz", f"{k / 1e3:{_DIGITS}} pulses/L"] for hz, k in result.curve], **section}


def pressure_section(result: PressureCalibration) -> dict[str, Any]:
    """Section [pressure]."""
    sensor = result.sensor
    return {
        "span": [f"{sensor.low_pa:{_DIGITS}} Pa", f"{sensor.high_pa:{_DIGITS}} Pa"],
        "output": [f"{100 * sensor.low_fraction:{_DIGITS}} %", f"{100 * sensor.high_fraction:{_DIGITS}} %"],
        "uncertainty": f"{100 * sensor.uncertainty_pa / (sensor.high_pa - sensor.low_pa):.3g} %",
        "gain_uncertainty": f"{100 * sensor.gain_uncertainty:.3g} %",
    }


def wheel_section(result: WheelCalibration, pulses_per_turn: int) -> dict[str, Any]:
    """Section [wheel]."""
    return {
        "circumference": f"{result.metres_per_pulse * pulses_per_turn:{_DIGITS}} m",
        "pulses_per_turn": pulses_per_turn,
        "uncertainty": f"{100 * result.uncertainty.standard:.3g} %",
    }


def course_section(result: CourseCalibration) -> dict[str, Any]:
    """Section [course]."""
    return {
        "distance": f"{result.distance_m:{_DIGITS}} m",
        "time": f"{result.time_s:{_DIGITS}} s",
        "uncertainty": f"{100 * result.uncertainty.standard:.3g} %",
        "pass_spread": f"{100 * result.pass_spread:.3g} %",
    }


def uncertainty_record(combined: Combined) -> dict[str, Any]:
    """The budget for the record: relative results in percent."""
    return {
        "standard_percent": _short(100 * combined.standard),
        "expanded_percent": _short(100 * combined.expanded),
        "coverage_factor": _short(combined.coverage),
        "degrees_of_freedom": _short(combined.degrees),
        "components_percent": {part.name: _short(100 * part.standard) for part in combined.components},
        # Errors that other cards may have from the same tool, so that they are not counted twice.
        "shared": [
            {"error": part.shared, "percent": _short(100 * part.standard)}
            for part in combined.components
            if part.shared
        ],
    }


def meter_record(result: MeterCalibration, catches: list[MeterCatch]) -> dict[str, Any]:
    """What was caught and what came of it."""
    rows = []
    for one, residual in zip(catches, result.residuals, strict=True):
        row: dict[str, Any] = {"pulses": one.pulses, "volume_L": _short(one.volume_m3 * 1e3), "vessel": one.vessel.name}
        if one.duration_s is not None:
            row["time_s"] = _short(one.duration_s)
        rows.append(row | {"residual_percent": round(100 * residual, 4)})
    record = uncertainty_record(result.uncertainty) | {"remarks": list(result.remarks)}
    if result.range_hz is not None:
        record["holds_from_to_hz"] = [_short(hz) for hz in result.range_hz]
    return record | {"catches": rows}


def pressure_record(result: PressureCalibration, points: list[PressurePoint], adc_full_scale: float) -> dict[str, Any]:
    """Points and residuals in kPa, and the gauge that they were read from."""
    combined = result.uncertainty
    rows = [
        {"pressure_kPa": _short(p.pressure_pa / 1e3), "counts": _short(p.counts), "residual_kPa": round(r / 1e3, 4)}
        for p, r in zip(points, result.residuals_pa, strict=True)
    ]
    return {
        "adc_full_scale": _short(adc_full_scale),
        "gauge": _gauge_record(result.gauge),
        "standard_kPa": _short(combined.standard / 1e3),
        "expanded_kPa": _short(combined.expanded / 1e3),
        "coverage_factor": _short(combined.coverage),
        "components_kPa": {part.name: _short(part.standard / 1e3) for part in combined.components},
        "remarks": list(result.remarks),
        "points": rows,
    }


def boom_record(rig: Rig, test: BoomTest, reading: Reading) -> dict[str, Any]:
    """Catches of the boom: volumes as caught, so that a later test can be held against them.

    `reading` says how well they were read: smallest step and accuracy of the vessel, standard uncertainties of time and
    pressure.
    """
    return {
        "nozzles": rig.nozzles.count,
        "vessel": reading.vessel.name,
        "reading": {
            "tool": reading.vessel.tool or "",
            "step_mL": _short(reading.vessel.step_m3 * 1e6),
            "accuracy_percent": _short(100 * reading.vessel.accuracy),
            "time_s": _short(reading.time_s),
        }
        | (
            {"gauge": _gauge_record(reading.gauge)}
            if reading.transducer_pa is None
            else {"transducer_kPa": _short(reading.transducer_pa / 1e3)}
        ),
        "findings": [finding.sentence(rig.units) for finding in test.findings],
        "catches": [
            {
                "pressure_kPa": _short(result.catch.pressure_pa / 1e3),
                "time_s": _short(result.catch.duration_s),
                "volumes_mL": [_short(volume * 1e6) for volume in result.catch.volumes_m3],
                "orifice_coefficients_m3_s_per_root_Pa": [_short(one.coefficient) for one in result.nozzles],
                "expanded_percent": _short(100 * result.uncertainty.expanded),
            }
            | ({} if (times := result.catch.times_s) is None else {"times_s": [_short(time) for time in times]})
            | ({} if result.variation is None else {"variation_percent": _short(100 * result.variation)})
            for result in test.results
        ],
    }


def _gauge_record(gauge: Gauge) -> dict[str, Any]:
    steps = {"step_kPa": _short(gauge.step_pa / 1e3), "accuracy_kPa": _short(gauge.accuracy_pa / 1e3)}
    return {"tool": gauge.tool or "", "error": gauge.shared, **steps}


def _short(value: float) -> float:
    return float(f"{value:.7g}")
