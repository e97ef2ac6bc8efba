"""Rate, speed and pressure (or nozzle flow): two given, the third found, with the limits of the nozzle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from host.errors import BadInputError
from host.formulas import application_rate, density_factor, flow_for_rate, speed_for_rate
from host.rig import Nozzles

# A pressure typed as the limit itself is within it.
HAIR = 1e-9


@dataclass(frozen=True)
class Boom:
    """What lays the rate down: the nozzles over their swath (m), and the specific gravity of what they spray."""

    nozzles: Nozzles
    swath_m: float
    specific_gravity: float = 1.0

    def nozzle_flow_m3_s(self, pressure_pa: float) -> float:
        """Flow of one nozzle of the liquid: water's flow over √SG."""
        return float(self.nozzles.flow_m3_s(pressure_pa)) / density_factor(self.specific_gravity)

    def pressure_for_flow_pa(self, nozzle_flow_m3_s: float) -> float:
        """Pressure at which one nozzle passes a flow of the liquid."""
        return self.nozzles.pressure_for_flow_pa(nozzle_flow_m3_s * density_factor(self.specific_gravity))


@dataclass(frozen=True)
class Setting:
    """One way to spray. `nozzle_flow_m3_s` is of one nozzle and of the liquid, not of water; `found` is what was not
    given: "rate", "speed" or "pressure"."""

    rate_m3_m2: float
    speed_m_s: float
    pressure_pa: float
    nozzle_flow_m3_s: float
    found: str


def solve(
    boom: Boom,
    *,
    rate_m3_m2: float | None = None,
    speed_m_s: float | None = None,
    pressure_pa: float | None = None,
    nozzle_flow_m3_s: float | None = None,
) -> Setting:
    """Find what was not given. Exactly two of rate, speed, and pressure or nozzle flow must be given.

    Raises UserError when there are more or fewer, or one is not above zero.
    """
    given = {"rate": rate_m3_m2, "speed": speed_m_s, "pressure": pressure_pa, "nozzle flow": nozzle_flow_m3_s}
    if pressure_pa is not None and nozzle_flow_m3_s is not None:
        raise BadInputError("pressure and nozzle flow say the same: give one of the two.")
    known = [name for name, value in given.items() if value is not None]
    if len(known) != 2:
        raise BadInputError(
            f"{len(known)} of rate, speed and pressure (or nozzle flow) {'is' if len(known) == 1 else 'are'} given: "
            "give two, the third is found."
        )
    for name, value in given.items():
        if value is not None and not (value > 0 and math.isfinite(value)):
            raise BadInputError(f"the {name} is not above zero: give the one you mean.")
    count, swath = boom.nozzles.count, boom.swath_m
    found = "rate" if rate_m3_m2 is None else "speed" if speed_m_s is None else "pressure"
    if pressure_pa is not None:
        nozzle_flow_m3_s = boom.nozzle_flow_m3_s(pressure_pa)
    if nozzle_flow_m3_s is None:
        assert rate_m3_m2 is not None and speed_m_s is not None
        nozzle_flow_m3_s = flow_for_rate(rate_m3_m2, speed_m_s, swath) / count
    if pressure_pa is None:
        pressure_pa = boom.pressure_for_flow_pa(nozzle_flow_m3_s)
    if speed_m_s is None:
        assert rate_m3_m2 is not None
        speed_m_s = speed_for_rate(count * nozzle_flow_m3_s, rate_m3_m2, swath)
    if rate_m3_m2 is None:
        rate_m3_m2 = application_rate(count * nozzle_flow_m3_s, speed_m_s, swath)
    return Setting(rate_m3_m2, speed_m_s, pressure_pa, nozzle_flow_m3_s, found)


def speed_limits(boom: Boom, rate_m3_m2: float) -> tuple[float, float]:
    """Slowest and fastest speed (m/s) that give a rate within the range of the nozzles' tips."""
    low, high = (
        speed_for_rate(boom.nozzles.count * boom.nozzle_flow_m3_s(at), rate_m3_m2, boom.swath_m)
        for at in boom.nozzles.range_pa
    )
    return low, high


def rate_table(boom: Boom, speeds_m_s: Sequence[float], pressures_pa: Sequence[float]) -> NDArray[np.float64]:
    """Rates (m³/m²), shape (pressures, speeds). Raises UserError when a speed or pressure is not above zero."""
    if any(not value > 0 for value in (*speeds_m_s, *pressures_pa)):
        raise BadInputError("every speed and pressure of the table must be above zero: correct them.")
    flow = boom.nozzles.count * boom.nozzles.flow_m3_s(pressures_pa) / density_factor(boom.specific_gravity)
    table: NDArray[np.float64] = application_rate(flow[:, None], np.asarray(speeds_m_s)[None, :], boom.swath_m)
    return table


def beyond_range(pressure_pa: float, low_pa: float, high_pa: float) -> float:
    """Pressure over the limit of a range that it passes (above 1: too high, below 1: too low); 1 within the range."""
    if pressure_pa < low_pa * (1 - HAIR):
        return pressure_pa / low_pa
    if pressure_pa > high_pa * (1 + HAIR):
        return pressure_pa / high_pa
    return 1.0
