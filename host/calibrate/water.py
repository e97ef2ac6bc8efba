"""Water on a balance: volume from mass and temperature."""

from __future__ import annotations

from host.errors import BadInputError
from host.units import KELVIN_AT_0_C

# Tanaka et al., "Recommended table for the density of water between 0 °C and 40 °C based on recent experimental
# reports", Metrologia 38 (2001) 301-309: coefficients of its formula, in °C and kg/m³.
_A1, _A2, _A3, _A4, _A5 = -3.983035, 301.797, 522528.9, 69.34881, 999.974950

# ISO 8655-6: a balance is adjusted with steel weights in air.
AIR_KG_M3 = 1.2
WEIGHTS_KG_M3 = 8000.0


def water_density(temperature_k: float) -> float:
    """Density (kg/m³) of water at 101.325 kPa from its temperature (K), 0 to 40 °C.

    Formula of Tanaka et al. (2001), which agrees with IAPWS-95 within 0.002 kg/m³.
    Raises UserError outside of 0 to 40 °C.
    """
    t = temperature_k - KELVIN_AT_0_C
    if not 0.0 <= t <= 40.0:
        raise BadInputError(
            f"the water temperature {t:.1f} °C is outside 0 to 40 °C: give that of the water in the bucket."
        )
    return _A5 * (1.0 - (t + _A1) ** 2 * (t + _A2) / (_A3 * (t + _A4)))


def volume_of_weighed_water(reading_kg: float, temperature_k: float) -> float:
    """Volume (m³) of water from what the balance shows (kg, tare taken off), air buoyancy included.

    V = m·(1 − ρair/ρweights)/(ρwater − ρair): the factor Z of ISO 8655-6.
    """
    return reading_kg * (1.0 - AIR_KG_M3 / WEIGHTS_KG_M3) / (water_density(temperature_k) - AIR_KG_M3)
