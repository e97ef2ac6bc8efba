"""Pressure transducer: counts at known pressures -> the line from counts to pressure, with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from host.calibrate.uncertainty import Combined, Component, combine, pooled, rectangular, resolution
from host.calibrate.vessels import Gauge
from host.errors import BadInputError, NotNowError
from host.rig import PressureSensor

LEAST_SPAN = 0.02  # of the supply: points closer together than this fix no line
NOT_A_LINE = 0.10  # of the span: points farther off are mistakes, not scatter
# Scatter about the line (standard, of the span) that is assumed of a small transducer, bend and hysteresis with it, and
# counts with what the points show: common practice.
SCATTER = 0.003


@dataclass(frozen=True)
class PressurePoint:
    """Mean converter counts at a pressure; 0 Pa with the pump off and the boom open."""

    pressure_pa: float
    counts: float


@dataclass(frozen=True)
class PressureCalibration:
    """The result: the transducer for the rig; uncertainty at the highest point (Pa), residuals in Pa.

    `line` goes through the points that were read from `gauge`; `remarks` are sentences.
    """

    sensor: PressureSensor
    uncertainty: Combined
    residuals_pa: tuple[float, ...]
    remarks: tuple[str, ...]
    line: FittedLine
    gauge: Gauge


@dataclass(frozen=True)
class FittedLine:
    """A line of least squares through points (fraction of the supply, pressure Pa), as its uncertainty needs it."""

    fractions: tuple[float, ...]
    pressures_pa: tuple[float, ...]

    @property
    def slope(self) -> float:
        """Pa for the whole supply."""
        x, y = self.fractions, self.pressures_pa
        mean_x, mean_y = _mean(x), _mean(y)
        across = math.fsum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
        return across / math.fsum((a - mean_x) ** 2 for a in x)

    def pressure_at(self, fraction: float) -> float:
        """The line at a fraction of the supply."""
        return _mean(self.pressures_pa) + self.slope * (fraction - _mean(self.fractions))

    def weights_at(self, pressure_pa: float) -> tuple[float, ...]:
        """How far 1 Pa more at each point lifts the line where it reads `pressure_pa` (its hat vector there)."""
        mean_x = _mean(self.fractions)
        beyond = (pressure_pa - _mean(self.pressures_pa)) / self.slope
        squares = math.fsum((x - mean_x) ** 2 for x in self.fractions)
        return tuple(1.0 / len(self.fractions) + (x - mean_x) * beyond / squares for x in self.fractions)

    def gauge_at(self, pressure_pa: float) -> float:
        """How far a gauge that is 1 Pa off at every pressure moves the line there; zero was read without the gauge."""
        weights = self.weights_at(pressure_pa)
        return math.fsum(w for w, p in zip(weights, self.pressures_pa, strict=True) if p > 0.0)


def calibrate_pressure(
    points: Sequence[PressurePoint],
    before: PressureSensor,
    adc_full_scale: float,
    gauge: Gauge,
    source: str = "the rig file",
) -> PressureCalibration:
    """Fit zero and span. Points at zero pressure alone move the zero of `before` and keep its slope.

    `source` says where `before` is from. Least squares with every point alike. Raises UserError when the points fix no
    line or cannot be right.
    """
    _check(points, adc_full_scale)
    fractions = [point.counts / adc_full_scale for point in points]
    if max(fractions) - min(fractions) < LEAST_SPAN:
        return _zero_alone(points, before, adc_full_scale, gauge, source)
    line = FittedLine(tuple(fractions), tuple(point.pressure_pa for point in points))
    slope_before = (before.high_pa - before.low_pa) / (before.high_fraction - before.low_fraction)
    if line.slope <= 0:
        raise BadInputError("the counts fall while the pressure rises: check the points and the transducer's wiring.")
    remarks = []
    if abs(line.slope / slope_before - 1.0) > 0.25:
        remarks.append(
            f"The span is {100 * (line.slope / slope_before - 1):+.0f} % off the one of {source}: check the gauge, "
            "and the transducer's range in the rig file."
        )
    low, high = (line.pressure_at(fraction) for fraction in (before.low_fraction, before.high_fraction))
    sensor = replace(before, low_pa=low, high_pa=high)
    residuals = tuple(float(sensor.pressure_pa(p.counts, adc_full_scale)) - p.pressure_pa for p in points)
    worst = max(range(len(points)), key=lambda i: abs(residuals[i]))
    if abs(residuals[worst]) > NOT_A_LINE * (high - low):
        raise BadInputError(
            f"the points lie on no line, point {worst + 1} least of all: read gauge and counts again at each pressure."
        )
    highest = max(line.pressures_pa)
    scatter = scatter_about(residuals, high - low)
    top = combine(line_parts(line, highest, gauge, scatter))
    zero = combine(line_parts(line, 0.0, gauge, scatter)).carried
    gain = _gain(line, (highest, min(2.0 * highest, max(high, highest))), zero, gauge, scatter)
    if not any(pressure == 0.0 for pressure in line.pressures_pa):
        remarks.append("The zero was not read: take a point with the pump off and the boom open.")
    remarks.append(
        "An error of the gauge is now the transducer's, too, and nothing here shows it: compare the gauge with another."
    )
    if len(points) == 2:
        remarks.append("Two points cannot show scatter: take a third pressure between them.")
    sensor = replace(sensor, uncertainty_pa=zero, gain_uncertainty=gain, highest_pa=highest)
    return PressureCalibration(sensor, top, residuals, tuple(remarks), line, gauge)


def _gain(
    line: FittedLine, pressures_pa: Sequence[float], zero_pa: float, gauge: Gauge, scatter: tuple[float, float]
) -> float:
    """Relative standard uncertainty of the span: with that of the zero it holds the line's own at all `pressures_pa`.

    Beyond the highest point the scatter of few points lifts the line by more than what is seen at that point says.
    """
    at = ((pressure, combine(line_parts(line, pressure, gauge, scatter)).carried) for pressure in pressures_pa)
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
    offset = -slope * _mean([point.counts / adc_full_scale for point in points])
    span = before.high_pa - before.low_pa
    # Of the calibration before, its slope is kept, with what is known of that at the top of its span.
    gain = float(before.uncertainty_at(before.high_pa)) / before.high_pa
    zero, degrees = pooled(0.0, 0.0, SCATTER * span)
    sensor = replace(
        before,
        low_pa=offset + slope * before.low_fraction,
        high_pa=offset + slope * before.high_fraction,
        uncertainty_pa=zero,
        gain_uncertainty=gain,
    )
    parts = [
        Component("zero: bend and hysteresis (assumed)", zero, degrees),
        Component("span, kept as it was", gain * before.high_pa),
    ]
    residuals = tuple(float(sensor.pressure_pa(point.counts, adc_full_scale)) for point in points)
    remark = f"Only the zero was set: the span is still the one of {source}."
    line = FittedLine((before.low_fraction, before.high_fraction), (sensor.low_pa, sensor.high_pa))
    return PressureCalibration(sensor, combine(parts), residuals, (remark,), line, gauge)


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


def scatter_about(residuals_pa: Sequence[float], span_pa: float) -> tuple[float, float]:
    """Standard deviation of points about their line (Pa), pooled with the assumed one, and its degrees of freedom."""
    spare = len(residuals_pa) - 2
    return pooled(math.sqrt(math.fsum(r**2 for r in residuals_pa) / max(spare, 1)), spare, SCATTER * span_pa)


def line_parts(line: FittedLine, pressure_pa: float, gauge: Gauge, scatter: tuple[float, float]) -> list[Component]:
    """What is open about the line at a pressure (Pa): the gauge's accuracy, its reading, the scatter."""
    weights = line.weights_at(pressure_pa)
    spread, degrees = scatter
    by_gauge = [w for w, p in zip(weights, line.pressures_pa, strict=True) if p > 0.0]
    return [
        Component(
            "accuracy of the gauge",
            line.gauge_at(pressure_pa) * rectangular(gauge.accuracy_pa),
            shared=gauge.shared,
            even=True,
        ),
        # Once for each reading by itself, once as the eye's habit, as with a jug.
        Component("reading of the gauge", math.hypot(*by_gauge, math.fsum(by_gauge)) * resolution(gauge.step_pa)),
        Component("scatter about the line, bend and hysteresis", math.hypot(*weights) * spread, degrees),
    ]


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)
