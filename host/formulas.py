"""The formulas of the trade, each standing here once with its source. SI in, SI out; floats or NumPy arrays."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar, cast

# mypy: no-warn-redundant-casts
# Arguments are each `float | Value`, so a number goes with a number or an array and mypy knows what comes out; the
# casts inside say what NumPy's stubs cannot.
if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Value = TypeVar("Value", float, NDArray[np.float64])
else:
    Value = TypeVar("Value")

# 1/128 acre: the ounces caught from one nozzle while covering it equal the gallons per acre (128 fl oz to the gallon).
# Barbosa, Koske & Parish, "Ounces Equal Gallons: Sprayer Calibration", LSU AgCenter.
AREA_128TH_ACRE_M2 = 43_560 / 128 * 0.3048**2


def orifice_flow(coefficient: float | Value, pressure_pa: float | Value, specific_gravity: float = 1.0) -> Value:
    """Flow (m³/s) of an orifice with `coefficient` k (m³/s/√Pa) at `pressure_pa`: Q = k·√(P/SG).

    Bernoulli's equation for an orifice; density as in "Setting the Sprayer Flow Rate for Non-Water Solutions",
    University of Nebraska-Lincoln, 2016. Pressure below zero counts as none.
    """
    return cast("Value", coefficient * _root(cast("Value", pressure_pa * (pressure_pa > 0) / specific_gravity)))


def orifice_coefficient(flow_m3_s: float | Value, pressure_pa: float | Value, specific_gravity: float = 1.0) -> Value:
    """Orifice coefficient k (m³/s/√Pa) of water from a flow at a pressure above zero: k = Q/√(P/SG)."""
    return cast("Value", flow_m3_s / _root(pressure_pa / specific_gravity))


def pressure_for_flow(flow_m3_s: float | Value, coefficient: float | Value, specific_gravity: float = 1.0) -> Value:
    """Pressure (Pa) at which an orifice of `coefficient` passes `flow_m3_s`: P = SG·(Q/k)²."""
    return cast("Value", specific_gravity * (flow_m3_s / coefficient) ** 2)


def root_error(relative: float) -> float:
    """How far a coefficient may be off for a pressure that reads too low by as much: more than half, near 1 far more.

    1/√(1 − x) − 1, which is x/2 for a small x; beyond x = 0.9 nothing is known of the pressure.
    """
    return 1.0 / math.sqrt(1.0 - min(relative, 0.9)) - 1.0


def density_factor(specific_gravity: float) -> float:
    """√SG: solution flow times this is the water flow of the same nozzle at the same pressure.

    "Setting the Sprayer Flow Rate for Non-Water Solutions", University of Nebraska-Lincoln, 2016.
    """
    return _root(specific_gravity)


def application_rate(flow_m3_s: float | Value, speed_m_s: float | Value, swath_m: float) -> Value:
    """Volume per area (m³/m²) laid by `flow_m3_s` over `swath_m` at `speed_m_s`: Q/(v·w).

    The SI form of gal/acre = 5940·gpm/(mph·in): "Sprayer Calibration", Oklahoma State University. Not defined at rest.
    """
    return cast("Value", flow_m3_s / (speed_m_s * swath_m))


def speed_for_rate(flow_m3_s: float | Value, rate_m3_m2: float | Value, swath_m: float) -> Value:
    """Speed (m/s) at which `flow_m3_s` over `swath_m` gives `rate_m3_m2`."""
    return cast("Value", flow_m3_s / (rate_m3_m2 * swath_m))


def flow_for_rate(rate_m3_m2: float | Value, speed_m_s: float | Value, swath_m: float) -> Value:
    """Flow (m³/s) that gives `rate_m3_m2` over `swath_m` at `speed_m_s`."""
    return cast("Value", rate_m3_m2 * speed_m_s * swath_m)


def course_length_for_128th_acre(spacing_m: float | Value) -> Value:
    """Length (m) of the course on which one nozzle with this spacing covers 1/128 acre.

    Barbosa, Koske & Parish, "Ounces Equal Gallons: Sprayer Calibration", LSU AgCenter.
    """
    return cast("Value", AREA_128TH_ACRE_M2 / spacing_m)


def speed_over_course(distance_m: float | Value, time_s: float | Value) -> Value:
    """Speed (m/s) over a timed course."""
    return cast("Value", distance_m / time_s)


def time_over_course(distance_m: float | Value, speed_m_s: float | Value) -> Value:
    """Time (s) for a course at a speed: what the watch must show."""
    return cast("Value", distance_m / speed_m_s)


def agitation_flow(tank_volume_m3: float | Value, fraction_per_minute: float) -> Value:
    """Flow (m³/s) back to the tank that turns over `fraction_per_minute` of it each minute.

    Common practice: 0.05 for solutions, 0.125 for suspensions.
    """
    return cast("Value", tank_volume_m3 * fraction_per_minute / 60.0)


def nozzle_deviation(flow_m3_s: float | Value, reference_m3_s: float) -> Value:
    """Deviation of a nozzle from a reference flow (mean of the boom, or the rating), as a fraction.

    "Sprayer Calibration", LSU AgCenter; wear is the same against the flow of the new nozzle.
    """
    return cast("Value", flow_m3_s / reference_m3_s - 1.0)


def flow_from_frequency(frequency_hz: float | Value, pulses_per_m3: float | Value) -> Value:
    """Flow (m³/s) of a pulse meter: Q = f/K.

    K-factor as in Pope et al., NIST SP 1039r1, 2014.
    """
    return cast("Value", frequency_hz / pulses_per_m3)


def _root(value: float | Value) -> Value:
    return cast("Value", value**0.5)
