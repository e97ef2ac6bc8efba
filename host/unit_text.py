"""Text that a person types becomes an SI float: numbers as people write them, units as the trade writes them.

Pint reads the unit; it is imported only when something has to be read, so that `--help` stays quick.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from host.errors import BadInputError, closest
from host.unit_definitions import BARE_OUNCES, DEFINITIONS, NOT_TAKEN, SPELLINGS, US_UNITS

if TYPE_CHECKING:
    from pint import UnitRegistry

LONGEST = 60  # characters


@dataclass(frozen=True)
class Kind:
    """What may be typed for one kind of quantity.

    `dimension` is Pint's; `slash` whether a "/" must (True) or must not (False) be there; `most` is the size in SI
    beyond which nothing on or about a sprayer can be. `other` is an example for who thinks in the other units.
    """

    dimension: str
    example: str
    most: float
    slash: bool | None = None
    other: str = ""

    @property
    def examples(self) -> str:
        """How it is typed, in quotes."""
        return " or ".join(f'"{text}"' for text in (self.example, self.other) if text)


KINDS = {
    "length": Kind("[length]", "20 in", 1e5, slash=False, other="50 cm"),
    "area": Kind("[length] ** 2", "5000 ft2", 1e9, other="500 m2"),
    "volume": Kind("[length] ** 3", "50 L", 1e4, other="13 gal"),
    "time": Kind("[time]", "55 s", 1e8),
    "speed": Kind("[length] / [time]", "2.5 mph", 1e4, other="4 km/h"),
    "flow": Kind("[length] ** 3 / [time]", "0.3 gpm", 10.0, other="1.2 L/min"),
    "pressure": Kind("[mass] / [length] / [time] ** 2", "40 psi", 1e9, other="2.8 bar"),
    "rate": Kind("[length]", "1.0 gal/1000 ft2", 10.0, slash=True, other="4 L/100 m2"),
    "pulses_per_volume": Kind("1 / [length] ** 3", "450 pulses/L", 1e12, other="1700 pulses/gal"),
    "frequency": Kind("1 / [time]", "40 Hz", 1e9),
    "temperature": Kind("[temperature]", "20 °C", 1e5, other="68 °F"),
    "mass": Kind("[mass]", "1.30 kg", 1e7, other="2.9 lb"),
    "density": Kind("[mass] / [length] ** 3", "1.05 kg/L", 1e6, other="8.8 lb/gal"),
    "mass_per_area": Kind("[mass] / [length] ** 2", "2 lb/acre", 1e4, other="2 kg/ha"),
    "fraction": Kind("", "10 %", 1e4),
    "ratio": Kind("", "1.28", 1e4),
}
_LEAST = 1e-24  # what is smaller and not zero is a slip, and would be lost or overflow when divided by


@dataclass(frozen=True)
class Reading:
    """A number with its unit, in SI, and how it was written.

    `units` are the names of the units in order (see host.unit_definitions); `over` tells a quantity per something;
    `bare_ounces` an "oz" that may be of weight or of volume; `comma` one comma before three digits.
    """

    value: float
    dimension: object
    units: tuple[str, ...]
    over: bool = False
    bare_ounces: bool = False
    comma: bool = False


def parse_quantity(text: object, kind: str, where: str, *, ounces_of_weight: bool = False) -> float:
    """SI value of `text` such as "0.3 gpm", read as a quantity of `kind`, one of `KINDS`.

    `where` names the key or option for the message. A temperature comes back in kelvin, a fraction as a fraction
    ("10 %" -> 0.1). A ratio is a plain number. `ounces_of_weight` takes a bare "oz" as a weight, where it can be
    nothing else; otherwise it is asked about.

    Raises UserError when there is no number, no unit, an unknown unit, a unit of another kind, or a size that
    nothing here can have.
    """
    rule = KINDS[kind]
    wanted = f"{'an' if kind[0] in 'aeiou' else 'a'} {kind.replace('_', ' ')} such as {rule.examples}"
    reading = read_quantity(text, where, wanted)
    shown = _shorten(str(text))
    if not reading.units:
        if rule.dimension:
            raise BadInputError(f'{where} is "{shown}" without a unit: give {wanted}.')
        if kind == "fraction" and abs(reading.value) >= 1:
            raise BadInputError(
                f'{where} is "{shown}": write "{shown} %" or "{reading.value / 100:g}", whichever you mean.'
            )
    fits = reading.dimension == dimension_of(rule.dimension) and rule.slash in (None, reading.over)
    if reading.bare_ounces and not (fits and ounces_of_weight):
        raise BadInputError(ounces_question(where, shown))
    if not fits:
        raise BadInputError(f'{where} is "{shown}", which is not {wanted}.')
    if abs(reading.value) > rule.most:
        raise BadInputError(f'{where} is "{shown}", which is beyond any sensible size: give {wanted}.')
    return reading.value


def ounces_question(where: str, shown: str) -> str:
    """What a bare "oz" is answered with."""
    return f'{where} is "{shown}", ounces of volume or of weight? Write "fl oz" for a liquid or "oz wt" for a weight.'


def read_quantity(text: object, where: str, wanted: str) -> Reading:
    """A number with its unit, of whatever kind; `wanted` says in messages what is asked for. Raises UserError."""
    if not isinstance(text, str):
        raise BadInputError(f"{where} is {text!r}: give it as text with its unit, {wanted}.")
    shown = _shorten(text)
    if not text.strip():
        raise BadInputError(f"{where} is empty: give {wanted}.")
    try:
        reading = _read(text) if len(text) <= LONGEST else None
    except _UnknownUnitError as error:
        raise BadInputError(f'{where} is "{shown}": {error}; give {wanted}.') from None
    except ZeroDivisionError:
        raise BadInputError(f'{where} is "{shown}", which divides by zero: give {wanted}.') from None
    if reading is None:
        raise BadInputError(f'{where} is "{shown}", which is not a number with a unit: give {wanted}.')
    if not math.isfinite(reading.value) or 0 < abs(reading.value) < _LEAST:
        raise BadInputError(f'{where} is "{shown}", which is beyond any sensible size: give {wanted}.')
    if reading.comma:
        plain = shown.replace(",", "", 1)
        raise BadInputError(
            f'{where} is "{shown}": write "{plain}" or "{shown.replace(",", ".", 1)}", whichever you mean.'
        )
    return reading


def parse_number(text: str, where: str) -> float:
    """A plain number as people write it ("10,000", "2,5", "1 1/2"), without a unit. Raises UserError."""
    found = _number(_tidy(text)) if len(text) <= LONGEST else None
    if found is None or found[1] or not math.isfinite(found[0]):
        raise BadInputError(f'{where} is "{_shorten(text)}": give a number, without a unit.')
    return found[0]


def _shorten(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= LONGEST else text[: LONGEST - 3] + "…"


_SAME = str.maketrans({
    "\u00a0": " ", "\u2009": " ", "\u202f": " ", "−": "-", "º": "°", "′": "'", "’": "'", "″": '"', "”": '"', "⁄": "/",
})  # fmt: skip
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}


def _tidy(text: str) -> str:
    """One way of writing spaces, marks and fractions."""
    text = text.translate(_SAME)
    for mark, written in _VULGAR.items():
        text = text.replace(mark, f" {written}")
    return " ".join(text.split())


_AFTER = r"(?=$|[ a-zA-Z%°'\"])"
_PLAIN = r"(?:\d+\.?\d*|\.\d+)"
_NUMBER = re.compile(
    rf"""(?P<sign>[+-]?)(?:
      (?:(?P<whole>\d+)[ -])?(?P<top>\d+)/(?P<bottom>\d+){_AFTER}
    | (?P<grouped>\d{{1,3}}(?:(?:,\d{{3}})+|(?:\ \d{{3}})+)(?:\.\d*)?)(?![\d.,])
    | (?P<comma>\d+,\d+)(?![\d.,])
    | (?P<plain>{_PLAIN}(?:[eE][+-]?\d+)?)(?![\d.,])
    )\s*(?P<rest>.*)""",
    re.VERBOSE | re.DOTALL,
)


def _number(text: str) -> tuple[float, str, bool] | None:
    """Number, what follows it, and whether its one comma could also be a decimal one; None without a number."""
    found = _NUMBER.fullmatch(text)
    if found is None:
        return None
    grouped, doubtful = found["grouped"], False
    if found["top"] is not None:
        value = float(found["whole"] or 0) + float(found["top"]) / float(found["bottom"])
    elif grouped is not None and grouped[0] != "0":
        value = float(grouped.replace(",", "").replace(" ", ""))
        doubtful = grouped.count(",") == 1 and "." not in grouped
    else:
        value = float((grouped or found["comma"] or found["plain"]).replace(",", "."))
    return (-value if found["sign"] == "-" else value), found["rest"], doubtful


_WORD = r" ?(?![eE][+-]?\d)(?:[a-zA-Z]+|['\"])"  # no exponent of the number
_COMPOUND = re.compile(rf"{_PLAIN}{_WORD}(?: ?{_PLAIN}{_WORD})+")
_TERM = re.compile(rf"({_PLAIN})({_WORD})")
# A word may stand right behind its number, as in 1000sqft.
_WRITTEN_OUT = (
    # Minutes and seconds, as a stopwatch shows them.
    (re.compile(r"^([0-9]{1,3}):([0-5][0-9](?:\.[0-9]{1,3})?)(?: ?(?:s|min))?$"), r"\1 min \2 s"),
    (re.compile(r"(?<![a-z])(?:U\.?S\.? (?:fluid )?)(?=gal|fl|fluid|pt|pint|qt|quart|oz|ounce)", re.IGNORECASE), ""),
    (re.compile(r"(?<![a-z])fl\.? ?oz\b\.?|(?<![a-z])(?:fluid|liquid) (?:ounces?|oz)\b", re.IGNORECASE), "floz"),
    (
        re.compile(
            r"(?<![a-z])(?:dry|weight) (?:oz|ounces?)\b|(?<![a-z])(?:oz|ounces?)\.? (?:wt\b\.?|weight|dry|by weight)",
            re.I,
        ),
        "ozwt",
    ),
    (
        re.compile(
            r"(?<![a-z])sq(?:uare)?\.? ?(ft|feet|foot|m|met[er]{2}s?|yd|yards?|in|inch|inches)\b", re.IGNORECASE
        ),
        r"\g<1>2",
    ),
    (re.compile(r"(?<![a-z])s\.?f\b\.?", re.IGNORECASE), "ft2"),
    (re.compile(r"% ?(?:v/v|w/w|by (?:volume|weight))", re.IGNORECASE), "%"),
    (re.compile(r"\s+per\s+|^per\s+"), "/"),
    (re.compile(r"²|\^2|\*\*2"), "2"),
    (re.compile(r"³|\^3|\*\*3"), "3"),
    (re.compile(r"[·×]"), "*"),
)


def _read(text: str) -> Reading | None:
    text = _tidy(text)
    for pattern, replacement in _WRITTEN_OUT:
        text = pattern.sub(replacement, text)
    if _COMPOUND.fullmatch(text):
        return _compound(text)
    found = _number(text)
    if found is None:
        return None
    number, unit_text, doubtful = found
    expression, units, words = _expression(unit_text)
    value, dimension = _to_si(number, expression, units)
    bare = any(word.lower() in BARE_OUNCES for word in words)
    # Square feet and square metres are counted in thousands; other metric units have three decimals as often.
    sure = not doubtful or any(unit in US_UNITS for unit in units) or dimension == dimension_of("[length] ** 2")
    return Reading(value, dimension, units, "/" in expression or "_per_acre" in expression, bare, not sure)


def _compound(text: str) -> Reading:
    """Feet and inches, pounds and ounces, minutes and seconds: each unit smaller than the one before."""
    total, last, dimension, units, bare = 0.0, math.inf, None, [], False
    for number, after in _TERM.findall(text):
        word = after.strip()
        name = _unit_name(word)
        size, of = _to_si(1.0, name, (name,))
        if dimension not in (None, of) or not float(number) * size < last:
            raise _UnknownUnitError("two amounts on one line, and not the larger unit first")
        bare = bare or (word.lower() in BARE_OUNCES and "pound" not in units)
        total, last, dimension = total + float(number) * size, size, of
        units.append(name)
    return Reading(total, dimension, tuple(units), bare_ounces=bare)


class _UnknownUnitError(Exception):
    """A word in a unit that no sprayer uses."""


_PER_NUMBER = re.compile(r"\s*(\d+(?:\.\d+)?)\s+(?=\D)|\s*(1,000|1000|100|10)(?=[a-zA-Z])|\s*(1,000|1000)\s*$")


@lru_cache(maxsize=512)
def _expression(unit_text: str) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    """The unit as Pint reads it, its names and the words they were written in.

    After each slash, a number and its unit belong together (gal / 1000 ft2). The turf trade leaves the unit out or
    writes M: "3 fl oz/1000" and "3 fl oz/M" are per 1000 ft².
    """
    out: list[str] = []
    units: list[str] = []
    words: list[str] = []
    for index, part in enumerate(unit_text.replace("1,000", "1000").split("/")):
        number = _PER_NUMBER.match(part) if index else None
        written = (part[number.end() :] if number else part).replace("*", " ").split()
        count = next((group for group in number.groups() if group), None) if number else None
        if index and (part.strip() == "M" or (count == "1000" and not written)):
            if not US_UNITS.intersection(units):
                raise _UnknownUnitError('write the area with its unit, such as "/100 m2"')
            count, written = "1000", ["ft2"]
        if not written and index:
            raise _UnknownUnitError("nothing follows the slash")
        names = [_unit_name(word) for word in written]
        factors = ([count] if count else []) + names
        out.append(f"({' * '.join(factors)})" if factors else "1")
        units += [name.split(" ")[0] for name in names]
        words += written
    if units.count("percent") > 1:
        raise _UnknownUnitError("% stands there twice")
    return " / ".join(out), tuple(units), tuple(words)


def _unit_name(word: str) -> str:
    bare = word.rstrip(".") if len(word) > 1 else word
    advice = NOT_TAKEN.get(word.lower()) or NOT_TAKEN.get(bare.lower())
    if advice:
        raise _UnknownUnitError(advice)
    found = re.fullmatch(r"(\D+?)([23]?)", bare)
    if found is None:
        raise _UnknownUnitError(f'"{word}" is not a unit (write one number, then the unit)')
    spelling, power = found[1], found[2]
    name = SPELLINGS.get(spelling)
    if name is None and spelling not in ("ML", "Ml"):
        name = SPELLINGS.get(spelling.lower())
    if name is None:
        near = closest(spelling.lower(), SPELLINGS, 0.75)
        raise _UnknownUnitError(f'"{spelling}" is not a unit here' + (f' (did you mean "{near}"?)' if near else ""))
    return f"{name} ** {power}" if power else name


@lru_cache(maxsize=1)
def _registry() -> UnitRegistry[float]:
    from pint import UnitRegistry

    registry: UnitRegistry[float] = UnitRegistry(None)
    for line in DEFINITIONS:
        registry.define(line)
    return registry


@lru_cache(maxsize=512)
def dimension_of(text: str) -> object:
    """Pint's dimension of an expression such as "[length] ** 3"; of a plain number for an empty one."""
    registry = _registry()
    return registry.get_dimensionality(registry.UnitsContainer()) if not text else registry.get_dimensionality(text)


@lru_cache(maxsize=1024)  # rig files say the same again and again
def _to_si(number: float, expression: str, units: tuple[str, ...]) -> tuple[float, object]:
    registry = _registry()
    if any(unit.startswith("degree_") for unit in units):
        if len(units) > 1 or "*" in expression or "/" in expression:
            raise _UnknownUnitError("a temperature stands alone")
        quantity = registry.Quantity(number, units[0])
    else:
        quantity = number * registry.Quantity(1.0, "") * registry.parse_expression(expression)
    base = quantity.to_base_units()
    return float(base.magnitude), base.dimensionality
