"""Rate, speed and pressure (or nozzle flow): two given, the third found, with the limits of the nozzle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from host.errors import UserError
from host.formulas import application_rate, density_factor, flow_for_rate, speed_for_rate
from host.rig import Rig
from host.units import format_value


@dataclass(frozen=True)
class Setting:
    """One way to spray. `nozzle_flow_m3_s` is of one nozzle and of the liquid, not of water; `warnings` sentences."""

    rate_m3_m2: float
    speed_m_s: float
    pressure_pa: float
    nozzle_flow_m3_s: float
    specific_gravity: float
    warnings: tuple[str, ...]


def solve(
    rig: Rig,
    *,
    rate_m3_m2: float | None = None,
    speed_m_s: float | None = None,
    pressure_pa: float | None = None,
    nozzle_flow_m3_s: float | None = None,
    specific_gravity: float = 1.0,
) -> Setting:
    """Find what was not given. Exactly two of rate, speed, and pressure or nozzle flow must be given.

    Raises UserError when there are more or fewer, or one is not above zero.
    """
    if pressure_pa is not None and nozzle_flow_m3_s is not None:
        raise UserError("pressure and nozzle flow say the same: give one of the two.")
    given = {"rate": rate_m3_m2, "speed": speed_m_s, "pressure": pressure_pa, "nozzle flow": nozzle_flow_m3_s}
    known = [name for name, value in given.items() if value is not None]
    if len(known) != 2:
        raise UserError(
            f"{len(known)} of rate, speed and pressure (or nozzle flow) {'is' if len(known) == 1 else 'are'} given: "
            "give two, the third is found."
        )
    for name, value in given.items():
        if value is not None and not (value > 0 and math.isfinite(value)):
            raise UserError(f"the {name} is not above zero: give the one you mean.")
    if not 0.5 <= specific_gravity <= 2.0:
        raise UserError(f"a specific gravity of {specific_gravity:g} is not believable: water is 1, give 0.5 to 2.")
    heavier = density_factor(specific_gravity)
    count, swath = rig.nozzles.count, rig.swath_m
    if pressure_pa is not None:
        nozzle_flow_m3_s = float(rig.nozzles.flow_m3_s(pressure_pa)) / heavier
    if nozzle_flow_m3_s is None:
        assert rate_m3_m2 is not None and speed_m_s is not None
        nozzle_flow_m3_s = flow_for_rate(rate_m3_m2, speed_m_s, swath) / count
    if pressure_pa is None:
        pressure_pa = rig.nozzles.pressure_for_flow_pa(nozzle_flow_m3_s * heavier)
    if speed_m_s is None:
        assert rate_m3_m2 is not None
        speed_m_s = speed_for_rate(count * nozzle_flow_m3_s, rate_m3_m2, swath)
    if rate_m3_m2 is None:
        rate_m3_m2 = application_rate(count * nozzle_flow_m3_s, speed_m_s, swath)
    warnings = _warnings(rig, rate_m3_m2, speed_m_s, pressure_pa, heavier)
    return Setting(rate_m3_m2, speed_m_s, pressure_pa, nozzle_flow_m3_s, specific_gravity, warnings)


def speed_limits(rig: Rig, rate_m3_m2: float, specific_gravity: float = 1.0) -> tuple[float | None, float | None]:
    """Slowest and fastest speed (m/s) that give a rate within the nozzle's pressure range; None for no limit."""
    flows = [
        None if at is None else rig.nozzles.count * float(rig.nozzles.flow_m3_s(at)) / density_factor(specific_gravity)
        for at in (rig.nozzles.min_pressure_pa, rig.nozzles.max_pressure_pa)
    ]
    low, high = (None if flow is None else speed_for_rate(flow, rate_m3_m2, rig.swath_m) for flow in flows)
    return low, high


def rate_table(
    rig: Rig, speeds_m_s: Sequence[float], pressures_pa: Sequence[float], specific_gravity: float = 1.0
) -> NDArray[np.float64]:
    """Rates (m³/m²), shape (pressures, speeds). Raises UserError when a speed or pressure is not above zero."""
    if any(not value > 0 for value in (*speeds_m_s, *pressures_pa)):
        raise UserError("every speed and pressure of the table must be above zero: correct them.")
    flow = rig.nozzles.count * rig.nozzles.flow_m3_s(pressures_pa) / density_factor(specific_gravity)
    table: NDArray[np.float64] = application_rate(flow[:, None], np.asarray(speeds_m_s)[None, :], rig.swath_m)
    return table


def _warnings(rig: Rig, rate: float, speed: float, pressure: float, heavier: float) -> tuple[str, ...]:
    nozzles, said = rig.nozzles, []
    lowest, highest = nozzles.min_pressure_pa, nozzles.max_pressure_pa
    # A hair of tolerance: a pressure typed as the limit itself is within it.
    if (lowest is not None and pressure < lowest * (1 - 1e-9)) or (
        highest is not None and pressure > highest * (1 + 1e-9)
    ):
        low_speed, high_speed = speed_limits(rig, rate, heavier**2)
        span = " to ".join(format_value(one, "pressure", rig.units) for one in (lowest, highest))
        speeds = " to ".join(format_value(one, "speed", rig.units) for one in (low_speed, high_speed))
        way = "lower" if lowest is not None and pressure < lowest else "higher"
        other = "smaller" if way == "lower" else "larger"
        said.append(
            f"{format_value(pressure, 'pressure', rig.units)} is {way} than the nozzle's range of {span}: for this "
            f"rate keep the speed within {speeds}, or take {other} tips."
        )
    if rig.pump is not None:
        need = nozzles.count * float(nozzles.flow_m3_s(pressure)) / heavier
        gives = rig.pump.flow_m3_s(pressure)
        if gives is not None and gives < need:
            said.append("The pump cannot feed all nozzles at this pressure: see the pump's plan.")
    if not 0.1 <= speed <= 5.0:
        said.append(f"A speed of {format_value(speed, 'speed', rig.units)} is hardly that of a small sprayer.")
    return tuple(said)
