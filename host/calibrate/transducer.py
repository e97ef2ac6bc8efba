"""Pressure transducer: counts at known pressures -> the line from counts to pressure, with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from host.calibrate.gauge_fit import SCATTER, GaugeFit, fit_line
from host.calibrate.uncertainty import Combined, Component, combine, pooled
from host.calibrate.vessels import Gauge
from host.errors import BadInputError, NotNowError
from host.rig import PressureSensor

LEAST_SPAN = 0.02  # of the supply: points closer together than this fix no line
NOT_A_LINE = 0.10  # of the span: points farther off are mistakes, not scatter


@dataclass(frozen=True)
class PressurePoint:
    """Mean converter counts at a pressure; 0 Pa with the pump off and the boom open."""

    pressure_pa: float
    counts: float


@dataclass(frozen=True)
class PressureCalibration:
    """The result: the transducer for the rig; uncertainty at the highest point (Pa), residuals in Pa.

    `line` goes through the points that were read from `gauge`, None where that was the zero alone; `remarks` are
    sentences.
    """

    sensor: PressureSensor
    uncertainty: Combined
    residuals_pa: tuple[float, ...]
    remarks: tuple[str, ...]
    line: GaugeFit | None
    gauge: Gauge


def calibrate_pressure(
    points: Sequence[PressurePoint],
    before: PressureSensor,
    adc_full_scale: float,
    gauge: Gauge,
    source: str = "the rig file",
) -> PressureCalibration:
    """Fit zero and span. Points at zero pressure alone move the zero of `before` and keep its slope.

    `source` says where `before` is from. The fit is `fit_line`. Raises UserError when the points fix no line or cannot
    be right.
    """
    _check(points, adc_full_scale)
    fractions = [point.counts / adc_full_scale for point in points]
    if max(fractions) - min(fractions) < LEAST_SPAN:
        return _zero_alone(points, before, adc_full_scale, gauge, source)
    pressures = [point.pressure_pa for point in points]
    slope, offset = map(float, np.polyfit(fractions, pressures, 1))
    slope_before = (before.high_pa - before.low_pa) / (before.high_fraction - before.low_fraction)
    if slope <= 0:
        raise BadInputError("the counts fall while the pressure rises: check the points and the transducer's wiring.")
    remarks = []
    if abs(slope / slope_before - 1.0) > 0.25:
        remarks.append(
            f"The span is {100 * (slope / slope_before - 1):+.0f} % off the one of {source}: check the gauge, "
            "and the transducer's range in the rig file."
        )
    shown = [offset + slope * fraction for fraction in fractions]
    line = fit_line(shown, pressures, gauge, slope * (before.high_fraction - before.low_fraction))
    # To a thousandth of a pascal: what is left of a zero in the last bits of a sum is no pressure.
    low, high = (
        round(line.offset_pa + (1.0 + line.slope) * (offset + slope * fraction), 3)
        for fraction in (before.low_fraction, before.high_fraction)
    )
    sensor = replace(before, low_pa=low, high_pa=high)
    residuals = tuple(float(sensor.pressure_pa(p.counts, adc_full_scale)) - p.pressure_pa for p in points)
    worst = max(range(len(points)), key=lambda i: abs(residuals[i]))
    if abs(residuals[worst]) > NOT_A_LINE * (high - low):
        raise BadInputError(
            f"the points lie on no line, point {worst + 1} least of all: read gauge and counts again at each pressure."
        )
    highest = max(pressures)
    top = combine(line.line_parts(highest))
    zero = combine(line.line_parts(0.0)).carried
    gain = _gain(line, (highest, min(2.0 * highest, max(high, highest))), zero)
    if not any(pressure == 0.0 for pressure in pressures):
        remarks.append("The zero was not read: take a point with the pump off and the boom open.")
    remarks.append(
        "What the gauge is off by a share of the pressure is now the transducer's, too, and nothing here shows it: "
        "compare the gauge with another."
    )
    if len(points) == 2:
        remarks.append("Two points cannot show scatter: take a third pressure between them.")
    sensor = replace(sensor, uncertainty_pa=zero, gain_uncertainty=gain, highest_pa=highest)
    return PressureCalibration(sensor, top, residuals, tuple(remarks), line, gauge)


def _gain(line: GaugeFit, pressures_pa: Sequence[float], zero_pa: float) -> float:
    """Relative standard uncertainty of the span: with that of the zero it holds the line's own at all `pressures_pa`.

    Beyond the highest point the scatter of few points lifts the line by more than what is seen at that point says.
    """
    at = ((pressure, combine(line.line_parts(pressure)).carried) for pressure in pressures_pa)
    return max(math.sqrt(max(u**2 - zero_pa**2, 0.0)) / pressure for pressure, u in at)


def _zero_alone(
    points: Sequence[PressurePoint], before: PressureSensor, adc_full_scale: float, gauge: Gauge, source: str
) -> PressureCalibration:
    if any(point.pressure_pa != 0.0 for point in points):
        raise BadInputError(
            "the counts hardly differ between the pressures: the transducer does not follow; check its wiring, "
            "and take points with the pump off and near the highest spraying pressure."
        )
    slope = (before.high_pa - before.low_pa) / (before.high_fraction - before.low_fraction)
    offset = -slope * math.fsum(point.counts / adc_full_scale for point in points) / len(points)
    span = before.high_pa - before.low_pa
    # Of the calibration before, its slope is kept, with what is known of that at the top of its span.
    gain = float(before.uncertainty_at(before.high_pa)) / before.high_pa
    zero, degrees = pooled(0.0, 0.0, SCATTER * span)
    sensor = replace(
        before,
        low_pa=round(offset + slope * before.low_fraction, 3),
        high_pa=round(offset + slope * before.high_fraction, 3),
        uncertainty_pa=zero,
        gain_uncertainty=gain,
    )
    parts = [
        Component("zero: bend and hysteresis (assumed)", zero, degrees),
        Component("span, kept as it was", gain * before.high_pa),
    ]
    residuals = tuple(float(sensor.pressure_pa(point.counts, adc_full_scale)) for point in points)
    remark = f"Only the zero was set: the span is still the one of {source}."
    return PressureCalibration(sensor, combine(parts), residuals, (remark,), None, gauge)


def _check(points: Sequence[PressurePoint], adc_full_scale: float) -> None:
    if not points:
        raise NotNowError("no point was given: read the counts with the pump off, then at one or more pressures.")
    for number, point in enumerate(points, start=1):
        if not 0 <= point.counts <= adc_full_scale:
            raise BadInputError(
                f"point {number} has {point.counts:g} counts: they must lie between 0 and {adc_full_scale:g}."
            )
        if not 0.02 < point.counts / adc_full_scale < 0.98:
            raise BadInputError(
                f"point {number} has {point.counts:g} of {adc_full_scale:g} counts, at the end of the scale: "
                "the transducer's wire is open or shorted; check it before you calibrate."
            )
        if not (point.pressure_pa >= 0 and math.isfinite(point.pressure_pa)):
            raise BadInputError(f"point {number} has a pressure below zero: read the gauge again.")
