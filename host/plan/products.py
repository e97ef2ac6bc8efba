"""What the label of a product says: dose per area or per volume, strength, limits, place in the mixing order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from host.errors import BadInputError
from host.unit_text import dimension_of, ounces_question, parse_quantity, read_quantity

Form = Literal["liquid", "dry"]
Basis = Literal["area", "volume"]

WANTED = (
    'what the label says with its unit, such as "3.6 pt/acre" for a liquid, "2 lb/acre" for a dry product, '
    '"1 qt/100 gal" or "0.25 %" of the mix'
)


@dataclass(frozen=True)
class _Meaning:
    """What a dose of one dimension is, and between what (SI) any label could have it."""

    dimension: str
    form: Form
    basis: Basis
    least: float
    most: float


_MEANINGS = (
    _Meaning("[length]", "liquid", "area", 1e-12, 1e-2),
    _Meaning("[mass] / [length] ** 2", "dry", "area", 1e-9, 10.0),
    _Meaning("", "liquid", "volume", 1e-9, 1.0),
    _Meaning("[mass] / [length] ** 3", "dry", "volume", 1e-6, 5e3),
)


@dataclass(frozen=True)
class Dose:
    """An amount of product: m³ or kg, per m² of ground or per m³ of mix. `unit` is the one it was typed in."""

    form: Form
    basis: Basis
    amount: float
    unit: str


@dataclass(frozen=True)
class Family:
    """Products that go into the tank at the same place of the order. `stir`: they need the tank stirred hard."""

    words: str
    codes: tuple[str, ...] = ()
    stir: bool = False


# The usual order, common practice from memory; codes as labels carry them. The label goes before any order.
ORDER = {
    "conditioner": Family("water conditioner or defoamer"),
    "bag": Family("water-soluble bag", ("WSB", "WSP"), stir=True),
    "powder": Family("wettable powder", ("WP",), stir=True),
    "granule": Family("water-dispersible granules", ("WG", "WDG", "DF"), stir=True),
    "flowable": Family("flowable, suspension", ("SC", "F", "CS", "SE"), stir=True),
    "emulsion": Family("emulsifiable concentrate", ("EC", "EW", "ME", "OD")),
    "solution": Family("liquid or powder that dissolves", ("SL", "SP", "SG")),
    "adjuvant": Family("surfactant, oil or other adjuvant"),
}


@dataclass(frozen=True)
class Product:
    """One product of a mix. Limits and `used` are per area, in m³/m² or kg/m² of the product; None: not stated.

    `family` is a key of `ORDER`, or "" when it was not said.
    """

    name: str
    dose: Dose
    family: str = ""
    most: float | None = None
    most_per_season: float | None = None
    used: float | None = None

    @property
    def form(self) -> Form:
        """Whether it is poured or weighed."""
        return self.dose.form

    def per_volume(self, rate_m3_m2: float) -> float:
        """Product per volume of mix, m³/m³ or kg/m³, at a rate."""
        return self.dose.amount if self.dose.basis == "volume" else self.dose.amount / rate_m3_m2

    def per_area(self, rate_m3_m2: float) -> float:
        """Product per area, m³/m² or kg/m², at a rate."""
        return self.dose.amount if self.dose.basis == "area" else self.dose.amount * rate_m3_m2


def parse_dose(text: str, where: str) -> Dose:
    """A dose as a label has it. Raises UserError, for an ounce that may be of volume or of weight, too."""
    reading = read_quantity(text, where, WANTED)
    if reading.bare_ounces:
        raise BadInputError(ounces_question(where, text.strip()))
    meaning = next((m for m in _MEANINGS if reading.dimension == dimension_of(m.dimension)), None)
    if meaning is None or not (reading.over or reading.units == ("percent",)):
        raise BadInputError(f'{where} is "{text.strip()}": give {WANTED}.')
    if not reading.value > 0:
        raise BadInputError(f'{where} is "{text.strip()}": give one above zero.')
    if not meaning.least <= reading.value <= meaning.most:
        raise BadInputError(f'{where} is "{text.strip()}", which is beyond any label: check number and unit.')
    return Dose(meaning.form, meaning.basis, reading.value, reading.units[0])


def parse_strength(text: str, where: str) -> tuple[float, bool]:
    """Active ingredient of a product: a share (0 to 1), or with True a weight per volume (kg/m³). Raises UserError."""
    wanted = 'the share or the weight of active ingredient from the label, such as "50 %", "4 lb/gal" or "480 g/L"'
    reading = read_quantity(text, where, wanted)
    per_volume = reading.dimension == dimension_of("[mass] / [length] ** 3")
    value = parse_quantity(text, "density" if per_volume else "fraction", where)
    if not 0 < value <= (5e3 if per_volume else 1.0):
        raise BadInputError(f'{where} is "{text.strip()}": give {wanted}.')
    return value, per_volume


def product_for_active(active: Dose, strength: float, per_volume: bool) -> Dose:
    """The dose of product that holds a dose of active ingredient. Raises UserError when the two do not go together."""
    if per_volume and active.form == "liquid":
        raise BadInputError(
            "a strength in weight per volume goes with a dose of active ingredient by weight, such as "
            '"1.5 lb/acre": correct one of the two.'
        )
    form: Form = "liquid" if per_volume else active.form
    unit = active.unit if form == active.form else ""
    return Dose(form, active.basis, active.amount / strength, unit)


def parse_family(text: str, where: str) -> str:
    """A key of `ORDER` from its name or from the code on the label. Raises UserError."""
    word = text.strip().lower()
    for key, family in ORDER.items():
        if word in (key, key + "s") or text.strip().upper() in family.codes:
            return key
    known = ", ".join(f"{key} ({', '.join(family.codes)})" if family.codes else key for key, family in ORDER.items())
    raise BadInputError(f'{where} is "{text.strip()}": give one of {known}.')


def parse_per_area(text: str, product: Dose, strength: tuple[float, bool] | None, where: str) -> float:
    """A limit of the label per area, zero or more, in m³/m² or kg/m² of product.

    For a liquid whose strength is given in weight per volume it may be in weight of active ingredient, too. Raises
    UserError.
    """
    reading = read_quantity(text, where, WANTED)
    if reading.bare_ounces:
        raise BadInputError(ounces_question(where, text.strip()))
    dry = reading.dimension == dimension_of("[mass] / [length] ** 2")
    value = parse_quantity(text, "mass_per_area" if dry else "rate", where)
    if value < 0:
        raise BadInputError(f'{where} is "{text.strip()}": it cannot be below zero.')
    if dry and product.form == "liquid" and strength is not None and strength[1]:
        return value / strength[0]
    if dry != (product.form == "dry"):
        raise BadInputError(
            f'{where} is "{text.strip()}", and the product is {product.form}: give both as volume or both as weight.'
        )
    return value
