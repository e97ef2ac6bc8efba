"""A mixing sheet as it is kept with a run: what was typed, and how strong the mix is (TOML; see PLANNING.md).

The sheet that is written says all that a review needs: product per volume of mix, and the limits of the label.
"""

from __future__ import annotations

from dataclasses import dataclass

from host.errors import BadInputError
from host.schema import Kind, Place, Quantity, Table, Tables, Text, key
from host.toml_text import toml_tree
from host.unit_text import dimension_of, read_quantity

_LONGEST = 120  # characters of what was typed


class _Amount(Kind):
    """Product per volume of mix, or per area: an amount of liquid (m³) or of a dry product (kg)."""

    def __init__(self, per: str) -> None:
        self.name = f"product per {per}"
        self._liquid, self._dry = {
            "volume": ("", "[mass] / [length] ** 3"),
            "area": ("[length]", "[mass] / [length] ** 2"),
        }[per]
        self._example = {"volume": "11.7 mL/L", "area": "0.3 mL/m2"}[per]

    def read(self, value: object, place: Place) -> tuple[float, bool]:
        """The amount in SI, and whether it is of a dry product."""
        reading = read_quantity(value, str(place), f'a {self.name} such as "{self._example}"')
        dry = reading.dimension == dimension_of(self._dry)
        if not (dry or reading.dimension == dimension_of(self._liquid)) or not reading.over or reading.value < 0:
            raise BadInputError(f'{place} is "{value}": give a {self.name} such as "{self._example}".')
        return reading.value, dry

    def json_schema(self) -> dict[str, object]:
        return {"type": "string"}

    @property
    def example(self) -> str:
        return f'"{self._example}"'


_TYPED = Text(longest=_LONGEST, shape=f"text of 1 to {_LONGEST} characters")
_PER_AREA = _Amount("area")


@dataclass(frozen=True)
class SheetProduct:
    """One product: `strength` is product per volume of mix, the limits are per area; each with whether it is dry."""

    name: str = key(Text(), "what the product is called")
    strength: tuple[float, bool] = key(_Amount("volume"), "product per volume of mix")
    dose: str = key(_TYPED, "the dose as it was typed from the label", default="")
    kind: str = key(Text(), "its place in the mixing order", default="")
    most: tuple[float, bool] | None = key(_PER_AREA, "the most that the label allows at once", default=None)
    season: tuple[float, bool] | None = key(_PER_AREA, "the most that the label allows a season", default=None)

    @property
    def dry(self) -> bool:
        """Whether it is weighed, not poured."""
        return self.strength[1]


@dataclass(frozen=True)
class MixSheet:
    """What is in the tank. `rate` is the one that it was mixed for, `area` and `tank` as they were typed."""

    rig: str = key(Text(), "the sprayer that it was mixed for")
    rate: str = key(_TYPED, "the rate that it was mixed for")
    products: tuple[SheetProduct, ...] = key(Tables(Table(SheetProduct), most=20), "the products", name="product")
    made: str = key(_TYPED, "when it was made", default="")
    area: str = key(_TYPED, "the area to spray", default="")
    tank: str = key(_TYPED, "what a full load is", default="")
    place: str = key(_TYPED, "where it was sprayed", default="")
    load_m3: float | None = key(Quantity("volume"), "what the first load is", name="load", default=None)


SHEET = Table(MixSheet)


def sheet_from_toml(text: str, where: str = "mixing sheet") -> MixSheet:
    """The sheet in `text`; `where` names it in messages. Raises UserError."""
    sheet = SHEET.read(toml_tree(text, where, "save it again from the mix."), Place(where))
    if not sheet.products:
        raise BadInputError(f"{where} has no product: save it again from the mix.")
    return sheet


def amount_text(amount: float, dry: bool, per: str) -> str:
    """An amount per volume of mix or per area (SI) as a sheet holds it, exact enough to come back."""
    if per == "volume":
        return f"{amount:.9g} g/L" if dry else f"{1e3 * amount:.9g} mL/L"
    return f"{1e3 * amount:.9g} g/m2" if dry else f"{1e6 * amount:.9g} mL/m2"
