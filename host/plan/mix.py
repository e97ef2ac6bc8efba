"""How much product goes into the tank. Product per area is the point; water is only its carrier."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from host.errors import UserError
from host.unit_text import parse_quantity, read_quantity

Form = Literal["liquid", "dry"]

CAUTIONS = (
    "The label is the law: its rates, limits, protective clothing and re-entry times go before anything here.",
    "Put on gloves and eye protection before you open the container; mix outdoors, away from wells and drains.",
    "Fill half the water first, add the product with the agitation running, then the rest of the water.",
    "Rinse empty containers three times into the tank, and spray the rinse water out on the treated area.",
)


@dataclass(frozen=True)
class Label:
    """Limits of the product's label in its own unit per area (m³/m² or kg/m²); None where it states none."""

    most_per_area: float | None = None
    most_per_season: float | None = None


@dataclass(frozen=True)
class Load:
    """One filling of the tank: total volume, area it covers, product (m³ or kg), water to add (m³)."""

    volume_m3: float
    area_m2: float
    product: float
    water_m3: float


@dataclass(frozen=True)
class Mix:
    """The whole job. `full` is the filling of a full tank, None when there is none; `part` the last one, or None.

    `product` is in m³ for a liquid and kg for a dry product; `concentration` is product per volume of mix.
    """

    form: Form
    product_per_area: float
    rate_m3_m2: float
    area_m2: float
    full_tanks: int
    full: Load | None
    part: Load | None
    product: float
    volume_m3: float
    water_m3: float
    concentration: float
    warnings: tuple[str, ...]

    @property
    def tanks(self) -> int:
        """Number of fillings."""
        return self.full_tanks + (self.part is not None)

    def product_at(self, measured_rate_m3_m2: float) -> float:
        """Product per area that a measured rate of this mix has really put down."""
        return measured_rate_m3_m2 * self.concentration


def mix(  # noqa: PLR0913 - what the label, the rig and the job each give
    form: Form,
    product_per_area: float,
    rate_m3_m2: float,
    tank_m3: float,
    area_m2: float | None,
    *,
    label: Label = Label(),
    used_this_season: float = 0.0,
) -> Mix:
    """Product and water for an area, or for one full tank when `area_m2` is None.

    `product_per_area` and `used_this_season` are in m³/m² (liquid) or kg/m² (dry). A dry product is taken to add no
    volume. Raises UserError when an amount cannot be.
    """
    for value, what in (
        (product_per_area, "product per area"),
        (rate_m3_m2, "rate"),
        (tank_m3, "tank volume"),
        (1.0 if area_m2 is None else area_m2, "area"),
    ):
        if not (value > 0 and math.isfinite(value)):
            raise UserError(f"the {what} is not above zero: give the one you mean.")
    if used_this_season < 0:
        raise UserError("what was used this season cannot be below zero: correct it.")
    if form == "liquid" and product_per_area >= rate_m3_m2:
        raise UserError("the product alone is more than the whole rate: check the product per area and the rate.")
    area = tank_m3 / rate_m3_m2 if area_m2 is None else area_m2
    volume = area * rate_m3_m2
    # A rounding error of a millionth of a tank is no last part tank.
    full_tanks = math.floor(volume / tank_m3 + 1e-6)
    rest = volume - full_tanks * tank_m3
    rest = rest if rest > 1e-6 * tank_m3 else 0.0
    concentration = product_per_area / rate_m3_m2

    def load(of_m3: float) -> Load:
        product = of_m3 * concentration
        return Load(of_m3, of_m3 / rate_m3_m2, product, of_m3 - product if form == "liquid" else of_m3)

    product = area * product_per_area
    return Mix(
        form=form,
        product_per_area=product_per_area,
        rate_m3_m2=rate_m3_m2,
        area_m2=area,
        full_tanks=full_tanks,
        full=load(tank_m3) if full_tanks else None,
        part=load(rest) if rest else None,
        product=product,
        volume_m3=volume,
        water_m3=volume - product if form == "liquid" else volume,
        concentration=concentration,
        warnings=_label_warnings(product_per_area, label, used_this_season),
    )


def product_for_active(active_per_area: float, active_fraction: float) -> float:
    """Product per area from active ingredient per area and its share in the product (0 to 1). Raises UserError."""
    if not 0 < active_fraction <= 1:
        raise UserError("the active ingredient must be more than 0 and at most 100 % of the product: see its label.")
    return active_per_area / active_fraction


def _label_warnings(product_per_area: float, label: Label, used: float) -> tuple[str, ...]:
    said = []
    hair = 1.0 + 1e-9
    if label.most_per_area is not None and product_per_area > label.most_per_area * hair:
        said.append(
            f"This is {product_per_area / label.most_per_area:.2f} times what the label allows per application: "
            "do not spray it."
        )
    if label.most_per_season is not None and used + product_per_area > label.most_per_season * hair:
        left = max(0.0, label.most_per_season - used)
        times, share = (used + product_per_area) / label.most_per_season, 100 * left / product_per_area
        said.append(
            f"With what was used before, this is {times:.2f} times what the label allows per season; {share:.0f} % of "
            "this application is left: do not spray it."
        )
    return tuple(said)


def read_product(text: str, what: str) -> tuple[Form, float]:
    """Whether the product is liquid or dry, and its amount per area: m³/m² or kg/m².

    `what` names it in the sentence. Raises UserError when the text is neither.
    """
    wanted = 'an amount per area such as "3.6 pt/acre" for a liquid or "2 lb/acre" for a dry product'
    reading = read_quantity(text, what, wanted)
    if not reading.over:
        raise UserError(f'{what} is "{text}": give {wanted}.')
    kind = "mass_per_area" if "mass" in str(reading.dimension) else "rate"
    return ("liquid" if kind == "rate" else "dry"), parse_quantity(text, kind, what)
