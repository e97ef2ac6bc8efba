"""The frozen description of one sprayer. SI floats inside; uncertainties are standard uncertainties (JCGM 100)."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from host.formulas import orifice_coefficient, orifice_flow

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


# Of the pressure that a tip's flow is stated at: tips stated at 40 psi are used from 15 to 100 psi (common practice).
USUAL_RANGE = (0.375, 2.5)
# Standard uncertainty of a small meter's factor away from where it was caught, as a slope over the natural logarithm:
# 2 % for each doubling of the flow. Assumed, for such meters are sold as ± 3 % over a range of ten; common practice.
METER_SLOPE = 0.02 / math.log(2.0)
# Relative, standard: how a small meter's factor wanders from day to day, a wheel's way per turn from ground to ground
# (slip, soft turf). Assumed, common practice: passes of one run cannot show them.
DAY_TO_DAY = 0.005
GROUND_TO_GROUND = 0.01
LOW_SHARE = 0.15  # of a tank: time to think of the next load (common practice)


@dataclass(frozen=True)
class Tank:
    """The spray tank. `low_m3` is where a warning is wanted; None: at LOW_SHARE of it."""

    volume_m3: float
    low_m3: float | None = None

    @property
    def warn_m3(self) -> float:
        """What is left when the tank is low."""
        return LOW_SHARE * self.volume_m3 if self.low_m3 is None else self.low_m3


@dataclass(frozen=True)
class Pump:
    """What the pump delivers: `points` are (pressure Pa, flow m³/s), pressures rising and flows falling.

    `straight` tells that only the two ends are known, open flow and shut-off pressure. `switch_pressure_pa` is where a
    pressure switch turns the pump off; it says nothing of the flow.
    """

    points: tuple[tuple[float, float], ...]
    straight: bool = False
    switch_pressure_pa: float | None = None

    @property
    def highest_flow_m3_s(self) -> float:
        """Flow at the lowest pressure that is known."""
        return self.points[0][1]

    @property
    def known(self) -> bool:
        """Whether the flow under pressure is known; of a pump with nothing but its open flow it is not."""
        return len(self.points) > 1

    def flow_m3_s(self, pressure_pa: float) -> float | None:
        """Flow at a pressure, read between the points; None beyond them, 0 where the pump or its switch is off."""
        if self.switch_pressure_pa is not None and pressure_pa >= self.switch_pressure_pa * (1 - 1e-9):
            return 0.0
        at, flow = zip(*self.points, strict=True)
        if pressure_pa > at[-1]:
            return 0.0 if flow[-1] == 0 else None
        return float(np.interp(pressure_pa, at, flow))


@dataclass(frozen=True)
class Tip:
    """A nozzle tip: `points` are (pressure Pa, flow of water m³/s), rising; the pressures it is made for, if known."""

    points: tuple[tuple[float, float], ...]
    min_pressure_pa: float | None = None
    max_pressure_pa: float | None = None
    name: str = ""

    @property
    def reference_pressure_pa(self) -> float:
        """Pressure of the reference point, the middle one of a table."""
        return self.points[len(self.points) // 2][0]

    @property
    def highest_stated_pa(self) -> float:
        """The highest pressure (Pa) that its range or its chart tells of."""
        return self.max_pressure_pa or self.points[-1][0]

    @property
    def range_pa(self) -> tuple[float, float]:
        """Pressures (Pa) it may be used at: its stated limits; where one is missing, the end of its chart or, of a
        single point, its share of USUAL_RANGE."""
        at = [pressure for pressure, _ in self.points]
        ends = (at[0], at[-1]) if len(at) > 1 else tuple(at[0] * share for share in USUAL_RANGE)
        return self.min_pressure_pa or ends[0], self.max_pressure_pa or ends[1]

    @property
    def coefficient(self) -> float:
        """Orifice coefficient k (m³/s/√Pa) of one nozzle at the reference point."""
        pressure, flow = self.points[len(self.points) // 2]
        return orifice_coefficient(flow, pressure)

    def flow_m3_s(self, pressure_pa: ArrayLike) -> NDArray[np.float64]:
        """Flow of one nozzle on water at a pressure (same shape): Q = k·√P, k read between the points, held beyond."""
        pressure = np.asarray(pressure_pa, dtype=np.float64)
        at, flow = np.array(self.points).T
        return orifice_flow(np.interp(pressure, at, orifice_coefficient(flow, at)), pressure)

    def pressure_for_flow_pa(self, flow_m3_s: float) -> float:
        """Pressure at which one nozzle passes a flow of water: the inverse of `flow_m3_s`, by halving."""
        low, high = 0.0, 1.0
        while float(self.flow_m3_s(high)) < flow_m3_s:
            low, high = high, 2.0 * high
        for _ in range(70):
            middle = (low + high) / 2.0
            low, high = (middle, high) if float(self.flow_m3_s(middle)) < flow_m3_s else (low, middle)
        return high


@dataclass(frozen=True, kw_only=True)
class Nozzles(Tip):
    """The nozzles of the boom, all with the same tip."""

    count: int
    spacing_m: float


@dataclass(frozen=True)
class Meter:
    """The flow meter: `curve` holds (pulse frequency Hz, pulses per m³), rising; one point is a constant.

    `caught_hz` are the lowest and highest frequency that it was calibrated at, None where that is not known;
    `relative_uncertainty` is standard and holds between them.
    """

    curve: tuple[tuple[float, float], ...]
    relative_uncertainty: float
    caught_hz: tuple[float, float] | None = None

    def beyond_caught(self, frequency_hz: ArrayLike) -> NDArray[np.float64]:
        """How far a frequency lies outside those caught, as a natural logarithm of the ratio; 0 within (same shape)."""
        frequency = np.asarray(frequency_hz, dtype=np.float64)
        if self.caught_hz is None:
            return np.zeros_like(frequency)
        low, high = self.caught_hz
        known = np.where(frequency > 0, frequency, low)
        return np.asarray(np.maximum(np.log(known / high), np.log(low / known)).clip(min=0.0), dtype=np.float64)

    def uncertainty_in_run(self, frequency_hz: ArrayLike) -> NDArray[np.float64]:
        """Relative standard uncertainty of a volume counted on another day, at a pulse frequency (same shape)."""
        return np.hypot(self.relative_uncertainty_at(frequency_hz), DAY_TO_DAY)

    def relative_uncertainty_at(self, frequency_hz: ArrayLike) -> NDArray[np.float64]:
        """Relative standard uncertainty of the factor at a pulse frequency (same shape).

        Beyond the flows caught it grows by the slope of the curve there, at least by what is assumed of a small meter.
        """
        slope = METER_SLOPE
        if len(self.curve) > 1:
            (f0, k0), (f1, k1) = self.curve[:2]
            (f2, k2), (f3, k3) = self.curve[-2:]
            slope = max(slope, abs(math.log(k1 / k0) / math.log(f1 / f0)), abs(math.log(k3 / k2) / math.log(f3 / f2)))
        return np.hypot(self.relative_uncertainty, slope * self.beyond_caught(frequency_hz))

    def pulses_per_m3(self, frequency_hz: ArrayLike) -> NDArray[np.float64]:
        """Meter factor at a pulse frequency (same shape), read between the points of the curve, held beyond them."""
        frequency, factor = np.array(self.curve).T
        return np.asarray(np.interp(np.asarray(frequency_hz, dtype=np.float64), frequency, factor), dtype=np.float64)


@dataclass(frozen=True)
class PressureSensor:
    """A transducer whose output is a fraction of its supply, measured against that supply (ratiometric).

    The fractions may lie outside 0..1 after a calibration: they only fix the line. `uncertainty_pa` is the standard
    uncertainty of its zero, `gain_uncertainty` that of its slope, as a fraction of the pressure; `highest_pa` is the
    highest pressure that it was calibrated at, None where that is not known.
    """

    low_pa: float
    high_pa: float
    low_fraction: float = 0.1
    high_fraction: float = 0.9
    uncertainty_pa: float = 0.0
    gain_uncertainty: float = 0.0
    highest_pa: float | None = None

    def uncertainty_at(self, pressure_pa: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty (Pa) of a pressure (same shape): zero and slope, independent of each other."""
        pressure = np.asarray(pressure_pa, dtype=np.float64)
        return np.hypot(self.uncertainty_pa, self.gain_uncertainty * pressure)

    @property
    def open_below(self) -> float:
        """Fraction of the supply below which the transducer is not believed: signal wire open or shorted to ground."""
        return self.low_fraction / 2.0

    @property
    def short_above(self) -> float:
        """Fraction of the supply above which the transducer is not believed: signal shorted to the supply."""
        return (1.0 + self.high_fraction) / 2.0

    def pressure_pa(self, counts: ArrayLike, adc_full_scale: ArrayLike) -> NDArray[np.float64]:
        """Pressure from converter counts (same shape); `adc_full_scale` is the count at full supply."""
        fraction = np.asarray(counts, dtype=np.float64) / np.asarray(adc_full_scale, dtype=np.float64)
        slope = (self.high_pa - self.low_pa) / (self.high_fraction - self.low_fraction)
        return self.low_pa + (fraction - self.low_fraction) * slope


@dataclass(frozen=True)
class Wheel:
    """The measuring wheel. `pulses_per_turn` is only for telling its circumference."""

    metres_per_pulse: float
    relative_uncertainty: float
    pulses_per_turn: int = 1

    @property
    def uncertainty_in_run(self) -> float:
        """Relative standard uncertainty of a distance on other ground."""
        return math.hypot(self.relative_uncertainty, GROUND_TO_GROUND)


@dataclass(frozen=True)
class Course:
    """A fixed speed from a timed course, for a rig without a wheel; `distance_m` is the length of that course.

    `relative_uncertainty` is that of the speed of a single pass; `pass_spread` the part of it that differs from pass to
    pass, so that a run of many passes averages it.
    """

    speed_m_s: float
    relative_uncertainty: float
    pass_spread: float = 0.0
    distance_m: float | None = None

    def uncertainty_in_run(self, passes: float) -> float:
        """Relative standard uncertainty of the mean speed of a run's passes (one or more)."""
        fixed = max(self.relative_uncertainty**2 - self.pass_spread**2, 0.0)
        return math.sqrt(fixed + self.pass_spread**2 / max(passes, 1.0))


@dataclass(frozen=True)
class Target:
    """The wanted rate and how far from it still counts as on target (`band`, a fraction to either side)."""

    rate_m3_m2: float
    band: float

    @property
    def low_m3_m2(self) -> float:
        """Lower edge of the band."""
        return self.rate_m3_m2 * (1.0 - self.band)

    @property
    def high_m3_m2(self) -> float:
        """Upper edge of the band."""
        return self.rate_m3_m2 * (1.0 + self.band)


CalibratedPart = Meter | PressureSensor | Wheel | Course


@dataclass(frozen=True)
class Rig:
    """One sprayer. Exactly one of `wheel` and `course` is there; `toml` is the text that it was read from.

    `tips` are those that the keeper has besides the ones on the boom; the sensors are kinds of host.rig.sensors.
    """

    name: str
    units: Literal["us", "metric"]
    tank: Tank
    pump: Pump | None
    nozzles: Nozzles
    swath_m: float
    meter: Meter
    pressure: PressureSensor | None
    wheel: Wheel | None
    course: Course | None
    target: Target
    spray_switch: bool
    toml: str = field(repr=False)
    tips: tuple[Tip, ...] = ()
    meter_sensor: str = "hall"
    wheel_sensor: str = "hall"
    report_interval_ms: int | None = None  # None: what the board does by itself
