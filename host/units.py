"""Units at the edge: text that a person types becomes an SI float, an SI float becomes text that a person reads.

Inside Swardflow every quantity is an SI float. Pint reads the text (imported only when something has to be read, so
that `--help` stays quick); the factors for showing are plain exact arithmetic, held against Pint by the tests.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from host.errors import BadInputError
from host.unit_definitions import DEFINITIONS, SPELLINGS

if TYPE_CHECKING:
    from pint import UnitRegistry

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


@dataclass(frozen=True)
class Unit:
    """How one kind of quantity is shown: `value = si * per_si + offset`."""

    symbol: str
    slug: str
    decimals: int
    per_si: float
    offset: float = 0.0


# kind -> (Pint dimension, an example for the sentence, has a "/" that must be there or must not)
_DIMENSIONS: dict[str, tuple[str, str, bool | None]] = {
    "length": ("[length]", "20 in", False),
    "area": ("[length] ** 2", "5000 ft2", None),
    "volume": ("[length] ** 3", "50 L", None),
    "time": ("[time]", "55 s", None),
    "speed": ("[length] / [time]", "2.5 mph", None),
    "flow": ("[length] ** 3 / [time]", "0.3 gpm", None),
    "pressure": ("[mass] / [length] / [time] ** 2", "40 psi", None),
    "rate": ("[length]", "1.0 gal/1000 ft2", True),
    "pulses_per_volume": ("1 / [length] ** 3", "450 pulses/L", None),
    "frequency": ("1 / [time]", "40 Hz", None),
    "temperature": ("[temperature]", "20 °C", None),
    "mass": ("[mass]", "1.30 kg", None),
    "density": ("[mass] / [length] ** 3", "1.05 kg/L", None),
    "mass_per_area": ("[mass] / [length] ** 2", "2 lb/acre", None),
    "fraction": ("", "10 %", None),
}


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
        ("small_mass", "oz", "oz", 2, POUND_KG / 16),
        ("density", "lb/gal", "lb_per_gal", 2, POUND_KG / GALLON_M3),
        ("mass_per_area", "lb/acre", "lb_per_acre", 2, POUND_KG / ACRE_M2),
        ("small_mass_per_area", "oz/1000 ft²", "oz_per_1000_ft2", 2, POUND_KG / 16 / (1000 * FOOT_M**2)),
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


def format_value(value_si: float | None, kind: str, system: str, *, decimals: int | None = None) -> str:
    """Number and unit, such as "1.03 gal/1000 ft²"; a dash in place of a number that is missing or not finite."""
    unit = UNITS[system][kind]
    if value_si is None or not math.isfinite(value_si):
        return f"– {unit.symbol}"
    places = unit.decimals if decimals is None else decimals
    shown = f"{to_user(float(value_si), kind, system):.{places}f}"
    return f"{shown.removeprefix('-') if float(shown) == 0 else shown} {unit.symbol}"


def column_name(name: str, kind: str, system: str) -> str:
    """Name of an export column or a JSON key that carries its unit: ("flow", "flow", "us") -> "flow_gal_per_min"."""
    return f"{name}_{UNITS[system][kind].slug}"


_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(?![\d.,])\s*(.*)", re.DOTALL)
_WRITTEN_OUT = (
    (re.compile(r"\bfl\.?\s*oz\b\.?|\bfluid\s+ounces?\b", re.IGNORECASE), "floz"),
    (re.compile(r"\bsq(?:uare)?\.?\s*(ft|feet|foot|m|yd|in)\b", re.IGNORECASE), r"\g<1>2"),
    (re.compile(r"\bUS\s+(?=gal|floz|pt|qt)"), ""),
    (re.compile(r"\s+per\s+|^per\s+"), "/"),
    (re.compile(r"²|\^2|\*\*2"), "2"),
    (re.compile(r"³|\^3|\*\*3"), "3"),
    (re.compile(r"[·×]"), "*"),
)


def parse_quantity(text: object, kind: str, where: str) -> float:
    """SI value of `text` such as "0.3 gpm", read as a quantity of `kind`.

    `where` names the key or option for the sentence. Kinds: the keys of `UNITS` that people type (length, area, volume,
    time, speed, flow, pressure, rate, pulses_per_volume, frequency, temperature, mass, density, mass_per_area,
    fraction). A temperature comes back in kelvin, a fraction as a fraction ("10 %" -> 0.1).

    Raises UserError when there is no number, no unit, an unknown unit, a unit of another kind, or no finite value.
    """
    dimension, example, slash = _DIMENSIONS[kind]
    article = "an" if kind[0] in "aeiou" else "a"
    wanted = f'{article} {kind.replace("_", " ")} such as "{example}"'
    if not isinstance(text, str):
        raise BadInputError(f"{where} is {text!r}: give it as text with its unit, {wanted}.")
    shown = text.strip() if len(text) <= 60 else text.strip()[:57] + "…"
    found = _NUMBER.fullmatch(text.strip()) if len(text) <= 60 else None
    if found is None:
        hint = " (decimal point, no comma)" if "," in text else ""
        raise BadInputError(f'{where} is "{shown}", which is not a number with a unit: give {wanted}{hint}.')
    number, unit_text = float(found[1]), found[2]
    if kind == "fraction" and not unit_text:
        unit_text = "count"
    if not unit_text:
        raise BadInputError(f'{where} is "{shown}" without a unit: give {wanted}.')
    try:
        expression = _pint_expression(unit_text)
        if "degree_" in expression and not expression.replace("_", "").strip("()").isalpha():
            raise _UnknownUnitError("a temperature stands alone")
        value, actual = _to_si(number, expression)
    except _UnknownUnitError as error:
        raise BadInputError(f'{where} is "{shown}": {error}; give {wanted}.') from None
    except ZeroDivisionError:
        raise BadInputError(f'{where} is "{shown}", which divides by nothing: give {wanted}.') from None
    if not math.isfinite(value):
        raise BadInputError(f'{where} is "{shown}", which is beyond any sensible size: give {wanted}.')
    if actual != _dimension(dimension) or (slash is not None and slash != _has_denominator(expression)):
        ounces_of_weight = kind in ("volume", "rate", "flow") and "(ounce" in expression
        hint = ' (for liquid ounces write "fl oz")' if ounces_of_weight else ""
        raise BadInputError(f'{where} is "{shown}", which is not {wanted}{hint}.')
    return value


def _has_denominator(expression: str) -> bool:
    # A depth of water and a volume per area have the same dimension; what was typed tells them apart.
    return "/" in expression or "_per_acre" in expression


class _UnknownUnitError(Exception):
    """A word in a unit that no sprayer uses."""


@lru_cache(maxsize=512)
def _pint_expression(unit_text: str) -> str:
    """The unit as Pint reads it: after each slash, a number and its unit belong together (gal / 1000 ft2)."""
    text = unit_text
    for pattern, replacement in _WRITTEN_OUT:
        text = pattern.sub(replacement, text)
    parts = text.split("/")
    out = []
    for index, part in enumerate(parts):
        number = re.match(r"\s*(\d+(?:\.\d+)?)\s+(?=\D)|\s*(1000|100|10)(?=[a-zA-Z])", part) if index else None
        words = part[number.end() :] if number else part
        names = [_unit_name(word) for word in words.replace("*", " ").split()]
        if not names and index:
            raise _UnknownUnitError("nothing follows the slash")
        factors = ([number[1] or number[2]] if number else []) + names
        out.append(f"({' * '.join(factors)})" if factors else "1")
    return " / ".join(out)


def _unit_name(word: str) -> str:
    found = re.fullmatch(r"(\D+?)([23]?)", word)
    if found is None:
        raise _UnknownUnitError(f'"{word}" is not a unit (write one decimal number, then the unit)')
    spelling, power = found[1], found[2]
    name = SPELLINGS.get(spelling)
    if name is None and spelling not in ("ML", "Ml"):
        name = SPELLINGS.get(spelling.lower())
    if name is None:
        near = difflib.get_close_matches(spelling.lower(), list(SPELLINGS), n=1)
        raise _UnknownUnitError(f'"{spelling}" is not a unit here' + (f' (did you mean "{near[0]}"?)' if near else ""))
    return f"{name} ** {power}" if power else name


@lru_cache(maxsize=1)
def _registry() -> UnitRegistry[float]:
    from pint import UnitRegistry

    registry: UnitRegistry[float] = UnitRegistry(None)
    for line in DEFINITIONS:
        registry.define(line)
    return registry


@lru_cache(maxsize=512)
def _dimension(text: str) -> object:
    registry = _registry()
    return registry.get_dimensionality(registry.UnitsContainer()) if not text else registry.get_dimensionality(text)


def _to_si(number: float, expression: str) -> tuple[float, object]:
    registry = _registry()
    if "degree_" in expression:
        quantity = registry.Quantity(number, expression.strip("()"))
    else:
        quantity = number * registry.Quantity(1.0, "") * registry.parse_expression(expression)
    base = quantity.to_base_units()
    return float(base.magnitude), base.dimensionality
