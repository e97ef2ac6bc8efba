"""How much of each product goes into the tank. Product per area is the point; water is only its carrier."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from host.errors import BadInputError
from host.plan.products import ORDER, Product

CAUTIONS = (
    "The label is the law: its rates, limits, protective clothing and re-entry times go before anything here.",
    "Put on gloves and eye protection before you open the container; mix outdoors, away from wells and drains.",
    "Leave an air gap when you fill from a mains tap, so that nothing can run back.",
    "Fill half the water first, add the products with the agitation running, then the rest of the water.",
    "Rinse empty containers three times into the tank, and spray the rinse water out on the treated area.",
)
# A limit reached exactly is not passed; nor by the last bit of a sum.
_HAIR = 1.0 + 1e-9
_LEAST_TANKS, _MOST_TANKS = 1e-5, 1000  # beyond these a number was mistyped


@dataclass(frozen=True)
class Load:
    """One filling of the tank, `count` times: volume (m³), area (m²), each product (m³ or kg), water to add (m³)."""

    count: int
    volume_m3: float
    area_m2: float
    products: tuple[float, ...]
    water_m3: float


@dataclass(frozen=True)
class Mix:
    """The whole job: `products` in mixing order, the loads that it takes, and all loads together."""

    products: tuple[Product, ...]
    rate_m3_m2: float
    loads: tuple[Load, ...]
    total: Load

    @property
    def tanks(self) -> int:
        """How often the tank is filled."""
        return sum(load.count for load in self.loads)

    def put_down(self, measured_rate_m3_m2: float) -> tuple[float, ...]:
        """Each product per area (m³/m² or kg/m²) that a measured rate of this mix put down."""
        return tuple(product.per_volume(self.rate_m3_m2) * measured_rate_m3_m2 for product in self.products)


def mix(products: Sequence[Product], rate_m3_m2: float, tank_m3: float, area_m2: float | None) -> Mix:
    """Products and water for an area, or for one full tank when `area_m2` is None.

    A dry product is taken to add no volume. Raises UserError when an amount cannot be.
    """
    for value, what in (
        (rate_m3_m2, "rate"),
        (tank_m3, "tank volume"),
        (1.0 if area_m2 is None else area_m2, "area"),
        *((product.dose.amount, f"amount of {product.name}") for product in products),
    ):
        if not (value > 0 and math.isfinite(value)):
            raise BadInputError(f"the {what} is not above zero: give the one you mean.")
    ordered = tuple(sorted(products, key=_place))
    strengths = [product.per_volume(rate_m3_m2) for product in ordered]
    liquid = math.fsum(s for product, s in zip(ordered, strengths, strict=True) if product.form == "liquid")
    if liquid >= 1:
        raise BadInputError("the products alone are more than the whole rate: check the doses and the rate.")
    area = tank_m3 / rate_m3_m2 if area_m2 is None else area_m2
    volume = area * rate_m3_m2
    if not _LEAST_TANKS <= volume / tank_m3 <= _MOST_TANKS:
        size = "hardly a drop of mix" if volume < tank_m3 else f"over {_MOST_TANKS} loads"
        raise BadInputError(f"that would be {size}: check area, rate and tank.")
    # A rounding error of a millionth of a tank is no part load.
    full = math.floor(volume / tank_m3 + 1e-6)
    part = volume - full * tank_m3

    def load(count: int, volume_m3: float) -> Load:
        amounts = tuple(volume_m3 * strength for strength in strengths)
        return Load(count, volume_m3, volume_m3 / rate_m3_m2, amounts, volume_m3 * (1 - liquid))

    loads = [load(full, tank_m3)] if full else []
    loads += [load(1, part)] if part > 1e-6 * tank_m3 else []
    return Mix(ordered, rate_m3_m2, tuple(loads), load(1, volume))


def _place(product: Product) -> tuple[int, int]:
    """Place in the mixing order; a family that was not said goes by form: dry products before liquids."""
    places = list(ORDER)
    family = product.family or ("powder" if product.form == "dry" else "solution")
    return places.index(family), 0 if product.dose.basis == "area" else 1


def label_warnings(product: Product, rate_m3_m2: float) -> list[str]:
    """A sentence for each limit of the label that this mix passes."""
    amount, name, warnings = product.per_area(rate_m3_m2), product.name, []
    if product.most is not None and amount > product.most * _HAIR:
        if product.most == 0:
            warnings.append(f"{name}: the label allows none: do not spray it.")
        else:
            times = amount / product.most
            warnings.append(f"{name}: {_times(times)} what the label allows per application: do not spray it.")
    used = product.used or 0.0
    if product.most_per_season is not None and used + amount > product.most_per_season * _HAIR:
        left = max(0.0, product.most_per_season - used)
        share = math.floor(100 * left / amount + 1e-9)
        warnings.append(
            f"{name}: with what was used before, more than the label allows per season; "
            + (f"{share} % of this application is left: " if share else "nothing is left: ")
            + "do not spray it."
        )
    return warnings


def _times(times: float) -> str:
    if times < 1.01:
        return "more than"
    return f"{times:.2f} times" if times < 100 else "over 100 times"
