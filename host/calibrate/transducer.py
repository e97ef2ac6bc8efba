"""Pressure transducer: counts at known pressures -> the line from counts to pressure, with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from host.calibrate.uncertainty import Combined, Component, combine, rectangular, resolution
from host.errors import UserError
from host.rig import PressureSensor
from host.units import PSI_PA

LEAST_SPAN = 0.02  # of the supply: points closer together than this fix no line
NOT_A_LINE = 0.10  # of the span: points farther off are mistakes, not scatter
HYSTERESIS = 0.005  # of the span, to either side, assumed of a small transducer when the points cannot show it


@dataclass(frozen=True)
class Gauge:
    """The gauge that the transducer is held against: smallest step read, and how far it may be off (to either side)."""

    step_pa: float = 1.0 * PSI_PA
    accuracy_pa: float = 1.0 * PSI_PA


@dataclass(frozen=True)
class PressurePoint:
    """Mean converter counts at a pressure; 0 Pa with the pump off and the boom open."""

    pressure_pa: float
    counts: float


@dataclass(frozen=True)
class PressureCalibration:
    """The result: the transducer for the rig, uncertainty and residuals in Pa, remarks in sentences."""

    sensor: PressureSensor
    uncertainty: Combined
    residuals_pa: tuple[float, ...]
    remarks: tuple[str, ...]


def calibrate_pressure(
    points: Sequence[PressurePoint],
    before: PressureSensor,
    adc_full_scale: float,
    gauge: Gauge,
    source: str = "the rig file",
) -> PressureCalibration:
    """Fit zero and span. One point at zero pressure moves the zero of `before` and keeps its slope.

    `source` says where `before` is from. Least squares with every point alike. Raises UserError when the points fix no
    line or cannot be right.
    """
    _check(points, adc_full_scale)
    fractions = [point.counts / adc_full_scale for point in points]
    slope_before = (before.high_pa - before.low_pa) / (before.high_fraction - before.low_fraction)
    remarks = []
    if max(fractions) - min(fractions) < LEAST_SPAN:
        if any(point.pressure_pa != 0.0 for point in points):
            raise UserError(
                "the counts hardly differ between the pressures: the transducer does not follow; check its wiring, "
                "and take points with the pump off and near the highest spraying pressure."
            )
        slope, offset = slope_before, -slope_before * sum(fractions) / len(fractions)
        parameters = 1
        remarks.append(f"Only the zero was set: the span is still the one of {source}.")
    else:
        slope, offset = _line(fractions, [point.pressure_pa for point in points])
        parameters = 2
    if slope <= 0:
        raise UserError("the counts fall while the pressure rises: check the points and the transducer's wiring.")
    if abs(slope / slope_before - 1.0) > 0.25:
        remarks.append(
            f"The span is {100 * (slope / slope_before - 1):+.0f} % off the one of {source}: check the gauge, "
            "and the transducer's range in the rig file."
        )
    sensor = replace(before, low_pa=offset + slope * before.low_fraction, high_pa=offset + slope * before.high_fraction)
    residuals = tuple(float(sensor.pressure_pa(p.counts, adc_full_scale)) - p.pressure_pa for p in points)
    worst = max(range(len(points)), key=lambda i: abs(residuals[i]))
    if abs(residuals[worst]) > NOT_A_LINE * (sensor.high_pa - sensor.low_pa):
        raise UserError(
            f"the points lie on no line, point {worst + 1} least of all: read gauge and counts again at each pressure."
        )
    uncertainty = combine(_components(residuals, parameters, sensor, gauge))
    return PressureCalibration(
        replace(sensor, uncertainty_pa=uncertainty.standard), uncertainty, residuals, tuple(remarks)
    )


def _check(points: Sequence[PressurePoint], adc_full_scale: float) -> None:
    if not points:
        raise UserError("no point was given: read the counts with the pump off, then at one or more pressures.")
    for number, point in enumerate(points, start=1):
        if not 0 <= point.counts <= adc_full_scale:
            raise UserError(
                f"point {number} has {point.counts:g} counts: they must lie between 0 and {adc_full_scale:g}."
            )
        if not 0.02 < point.counts / adc_full_scale < 0.98:
            raise UserError(
                f"point {number} has {point.counts:g} of {adc_full_scale:g} counts, at the end of the scale: "
                "the transducer's wire is open or shorted; check it before you calibrate."
            )
        if not (point.pressure_pa >= 0 and math.isfinite(point.pressure_pa)):
            raise UserError(f"point {number} has a pressure below zero: read the gauge again.")


def _line(x: Sequence[float], y: Sequence[float]) -> tuple[float, float]:
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    slope = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / sum((a - mean_x) ** 2 for a in x)
    return slope, mean_y - slope * mean_x


def _components(residuals: Sequence[float], parameters: int, sensor: PressureSensor, gauge: Gauge) -> list[Component]:
    spare = len(residuals) - parameters
    parts = [
        Component("accuracy of the gauge", rectangular(gauge.accuracy_pa)),
        Component("reading of the gauge", resolution(gauge.step_pa)),
    ]
    if spare > 0:
        scatter = math.sqrt(sum(r**2 for r in residuals) / spare)
        return [*parts, Component("scatter about the line", scatter, float(spare))]
    assumed = rectangular(HYSTERESIS * (sensor.high_pa - sensor.low_pa))
    return [*parts, Component("bend and hysteresis (assumed: no spare point)", assumed)]
