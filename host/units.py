"""Units at the edge: an SI float becomes text that a person reads; `host.unit_text` reads what a person types.

Inside Swardflow every quantity is an SI float. The factors for showing are plain exact arithmetic, held against Pint
by the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from host.unit_text import parse_number, parse_quantity

__all__ = [
    "UNITS",
    "Unit",
    "column_name",
    "format_number",
    "format_value",
    "group_digits",
    "parse_number",
    "parse_quantity",
    "significant_decimals",
    "to_user",
]

# Exact: NIST Handbook 44, Appendix C; standard gravity: NIST SP 811, Appendix B.
INCH_M = 0.0254
FOOT_M = 12 * INCH_M
ACRE_M2 = 43_560 * FOOT_M**2
GALLON_M3 = 231 * INCH_M**3
FLUID_OUNCE_M3 = GALLON_M3 / 128
LITRE_M3 = 1e-3
MPH_M_S = 5280 * FOOT_M / 3600
POUND_KG = 0.45359237
PSI_PA = POUND_KG * 9.80665 / INCH_M**2
BAR_PA = 1e5
KELVIN_AT_0_C = 273.15
NARROW_SPACE = "\u202f"


@dataclass(frozen=True)
class Unit:
    """How one kind of quantity is shown: `value = si * per_si + offset`."""

    symbol: str
    slug: str
    decimals: int
    per_si: float
    offset: float = 0.0


def _kinds(*rows: tuple[str, str, str, int, float]) -> dict[str, Unit]:
    return {kind: Unit(symbol, slug, decimals, 1.0 / in_si) for kind, symbol, slug, decimals, in_si in rows}


# kind, symbol, slug, decimals, size of the unit in SI. Besides the kinds that are typed there are finer ones for
# showing: spacing, catch (a jug), field_rate (per acre or hectare), small_mass, product rates, orifice coefficient.
UNITS: dict[str, dict[str, Unit]] = {
    "us": _kinds(
        ("length", "ft", "ft", 1, FOOT_M),
        ("spacing", "in", "in", 1, INCH_M),
        ("area", "ft²", "ft2", 0, FOOT_M**2),
        ("field_area", "acres", "acres", 2, ACRE_M2),
        ("volume", "gal", "gal", 2, GALLON_M3),
        ("catch", "fl oz", "fl_oz", 1, FLUID_OUNCE_M3),
        ("time", "s", "s", 1, 1.0),
        ("speed", "mph", "mph", 2, MPH_M_S),
        ("flow", "gal/min", "gal_per_min", 3, GALLON_M3 / 60),
        ("pressure", "psi", "psi", 1, PSI_PA),
        ("rate", "gal/1000 ft²", "gal_per_1000_ft2", 2, GALLON_M3 / (1000 * FOOT_M**2)),
        ("field_rate", "gal/acre", "gal_per_acre", 1, GALLON_M3 / ACRE_M2),
        ("product_rate", "fl oz/1000 ft²", "fl_oz_per_1000_ft2", 2, FLUID_OUNCE_M3 / (1000 * FOOT_M**2)),
        ("pulses_per_volume", "pulses/gal", "pulses_per_gal", 1, 1 / GALLON_M3),
        ("frequency", "Hz", "hz", 1, 1.0),
        ("mass", "lb", "lb", 2, POUND_KG),
        ("small_mass", "oz wt", "oz", 2, POUND_KG / 16),
        ("density", "lb/gal", "lb_per_gal", 2, POUND_KG / GALLON_M3),
        ("mass_per_area", "lb/acre", "lb_per_acre", 2, POUND_KG / ACRE_M2),
        ("small_mass_per_area", "oz wt/1000 ft²", "oz_per_1000_ft2", 2, POUND_KG / 16 / (1000 * FOOT_M**2)),
        ("orifice_coefficient", "gal/min/√psi", "gal_per_min_per_root_psi", 4, GALLON_M3 / 60 / math.sqrt(PSI_PA)),
        ("fraction", "%", "percent", 1, 0.01),
    )
    | {"temperature": Unit("°F", "degf", 1, 1.8, 32.0 - 1.8 * KELVIN_AT_0_C)},
    "metric": _kinds(
        ("length", "m", "m", 1, 1.0),
        ("spacing", "cm", "cm", 1, 0.01),
        ("area", "m²", "m2", 0, 1.0),
        ("field_area", "ha", "ha", 3, 1e4),
        ("volume", "L", "L", 1, LITRE_M3),
        ("catch", "mL", "mL", 0, 1e-6),
        ("time", "s", "s", 1, 1.0),
        ("speed", "km/h", "km_per_h", 2, 1 / 3.6),
        ("flow", "L/min", "L_per_min", 2, LITRE_M3 / 60),
        ("pressure", "bar", "bar", 2, BAR_PA),
        ("rate", "L/100 m²", "L_per_100_m2", 2, LITRE_M3 / 100),
        ("field_rate", "L/ha", "L_per_ha", 0, LITRE_M3 / 1e4),
        ("product_rate", "mL/100 m²", "mL_per_100_m2", 1, 1e-8),
        ("pulses_per_volume", "pulses/L", "pulses_per_L", 1, 1 / LITRE_M3),
        ("frequency", "Hz", "hz", 1, 1.0),
        ("mass", "kg", "kg", 3, 1.0),
        ("small_mass", "g", "g", 0, 1e-3),
        ("density", "kg/L", "kg_per_L", 3, 1e3),
        ("mass_per_area", "kg/ha", "kg_per_ha", 2, 1e-4),
        ("small_mass_per_area", "g/100 m²", "g_per_100_m2", 1, 1e-5),
        ("orifice_coefficient", "L/min/√bar", "L_per_min_per_root_bar", 3, LITRE_M3 / 60 / math.sqrt(BAR_PA)),
        ("fraction", "%", "percent", 1, 0.01),
    )
    | {"temperature": Unit("°C", "degc", 1, 1.0, -KELVIN_AT_0_C)},
}


def to_user(value_si: float, kind: str, system: str) -> float:
    """The number to show for an SI value (float or array) in `system` ("us" or "metric")."""
    unit = UNITS[system][kind]
    return value_si * unit.per_si + unit.offset


def group_digits(number: str, system: str) -> str:
    """A number with its thousands apart: commas for "us", narrow spaces for "metric"; `number` is plain digits."""
    whole, point, decimals = number.partition(".")
    sign, whole = ("-", whole[1:]) if whole.startswith("-") else ("", whole)
    return f"{sign}{int(whole):,}".replace(",", "," if system == "us" else NARROW_SPACE) + point + decimals


def significant_decimals(value_si: float | None, kind: str, system: str, digits: int = 3) -> int:
    """Decimals that show `value_si` with `digits` significant digits, never fewer than its unit has."""
    unit = UNITS[system][kind]
    shown = 0.0 if value_si is None else to_user(float(value_si), kind, system)
    if not math.isfinite(shown) or shown == 0.0:
        return unit.decimals
    size = math.floor(math.log10(abs(shown)))
    return max(unit.decimals, digits - 1 - size)


def format_number(value_si: float | None, kind: str, system: str, *, decimals: int | None = None) -> str:
    """The number alone, such as "1.03"; a dash when it is missing or not finite."""
    value = math.nan if value_si is None else to_user(float(value_si), kind, system)
    if not math.isfinite(value):
        return "–"
    places = UNITS[system][kind].decimals if decimals is None else decimals
    shown = f"{value:.{places}f}"
    return group_digits(shown.removeprefix("-") if float(shown) == 0 else shown, system)


def rounded_up(value: float, decimals: int) -> float:
    """An uncertainty as it is shown: never less than it is (GUM 7.2.6)."""
    scale = 10.0**decimals
    return math.ceil(value * scale - 1e-9) / scale


def format_value(value_si: float | None, kind: str, system: str, *, decimals: int | None = None) -> str:
    """Number and unit, such as "1.03 gal/1000 ft²"; a dash in place of a number that is missing or not finite."""
    return f"{format_number(value_si, kind, system, decimals=decimals)} {UNITS[system][kind].symbol}"


_JUG_M3 = 0.5e-3


def format_volume(volume_m3: float, system: str) -> str:
    """A volume in the unit of the tank, or in that of a jug where the tank's would show next to nothing."""
    return format_value(volume_m3, "volume" if volume_m3 >= _JUG_M3 else "catch", system)


def column_name(name: str, kind: str, system: str) -> str:
    """Name of an export column or a JSON key that carries its unit: ("flow", "flow", "us") -> "flow_gal_per_min"."""
    return f"{name}_{UNITS[system][kind].slug}"
