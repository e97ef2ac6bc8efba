"""Amounts to pour: at least three significant digits, parts that add up, and what a tool at hand can show of them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

from host.documents.document import Quantity
from host.units import FLUID_OUNCE_M3, GALLON_M3, LITRE_M3, POUND_KG, group_digits

# Up to here the marks of a tool may be off before it is asked for: what nozzles of one boom may differ by, too.
MOST_OFF = 0.05
# A tool that does better than this is good enough; among those the one that is filled the fewest times is taken.
GOOD = 0.02

_STOCK_STEPS = 20  # of the finest tool: half a step is then 2.5 %


@dataclass(frozen=True)
class PourUnit:
    """A unit that amounts are poured or weighed in; `size` in m³ or kg, `least` of it before `smaller` is used."""

    symbol: str
    slug: str
    size: float
    least: float = 0.0
    smaller: str = ""


# By the names of host.unit_definitions.
POUR_UNITS = {
    "gallon": PourUnit("gal", "gal", GALLON_M3, 0.25, "fluid_ounce"),  # no gallons below a quart
    "quart": PourUnit("qt", "qt", GALLON_M3 / 4),
    "pint": PourUnit("pt", "pt", GALLON_M3 / 8),
    "cup": PourUnit("cup", "cup", GALLON_M3 / 16),
    "fluid_ounce": PourUnit("fl oz", "fl_oz", FLUID_OUNCE_M3),
    "tablespoon": PourUnit("tbsp", "tbsp", FLUID_OUNCE_M3 / 2),
    "teaspoon": PourUnit("tsp", "tsp", FLUID_OUNCE_M3 / 6),
    "liter": PourUnit("L", "L", LITRE_M3, 0.1, "milliliter"),
    "centiliter": PourUnit("cL", "cL", LITRE_M3 / 100),
    "milliliter": PourUnit("mL", "mL", LITRE_M3 / 1000),
    "pound": PourUnit("lb", "lb", POUND_KG, 0.25, "ounce"),
    "ounce": PourUnit("oz wt", "oz", POUND_KG / 16),
    "kilogram": PourUnit("kg", "kg", 1.0, 0.1, "gram"),
    "gram": PourUnit("g", "g", 1e-3),
    "milligram": PourUnit("mg", "mg", 1e-6),
}
USUAL = {
    ("liquid", "us"): "fluid_ounce",
    ("liquid", "metric"): "milliliter",
    ("dry", "us"): "ounce",
    ("dry", "metric"): "gram",
}


def pour_unit(name: str, smallest: float) -> PourUnit:
    """The unit `name`, or the smaller one that suits the smallest amount (m³ or kg) of a column."""
    unit = POUR_UNITS[name]
    while unit.smaller and smallest < unit.least * unit.size:
        unit = POUR_UNITS[unit.smaller]
    return unit


def settle(value: float, digits: int = 3) -> Decimal:
    """`value` with `digits` significant digits, and never rounded beyond the decimal point."""
    exact = Decimal(repr(float(value)))
    if not exact:
        return Decimal(0)
    for _ in range(2):  # 9.996 has become 10.00 after the first time
        step = min(Decimal(1).scaleb(exact.adjusted() - digits + 1), Decimal(1))
        exact = exact.quantize(step, ROUND_HALF_UP)
    return exact


def settled_quantity(settled: Decimal, exact_si: float, unit: PourUnit, system: str) -> Quantity:
    """A settled number as people read it; for machines the exact one."""
    return Quantity(group_digits(f"{settled:f}", system), exact_si / unit.size, unit.symbol, unit.slug)


@dataclass(frozen=True)
class Poured:
    """One amount in each load, settled so that the loads add up to `total`: `loads` as they were given."""

    unit: PourUnit
    loads: tuple[Decimal, ...]
    total: Decimal


def settle_loads(amounts: Iterable[tuple[int, float]], unit: PourUnit) -> Poured:
    """Settle the amount (m³ or kg) of each kind of load, given with how many there are of it."""
    counted = list(amounts)
    loads = tuple(settle(amount / unit.size) for _, amount in counted)
    total = sum((count * load for (count, _), load in zip(counted, loads, strict=True)), Decimal(0))
    return Poured(unit, loads, total)


@dataclass(frozen=True)
class Tool:
    """Something to measure with: its `name` as in "with a jug", `step` between marks and `most` it holds in `unit`."""

    name: str
    unit: PourUnit
    step: Decimal
    most: Decimal


def _tools(unit: str, *rows: tuple[str, str, str]) -> tuple[Tool, ...]:
    return tuple(Tool(name, POUR_UNITS[unit], Decimal(step), Decimal(most)) for name, step, most in rows)


# Marks as such tools usually have them: common practice, from memory.
_SMALL = _tools(
    "milliliter",
    ("a 3 mL syringe", "0.1", "3"),
    ("a 10 mL syringe", "0.2", "10"),
    ("a 60 mL syringe", "1", "60"),
    ("a 250 mL cylinder", "2", "250"),
)
TOOLS = {
    ("liquid", "metric"): (
        *_SMALL,
        *_tools("milliliter", ("a 1 L jug", "10", "1000"), ("a 5 L jug", "50", "5000")),
        *_tools("liter", ("a bucket with 0.25 L marks", "0.25", "10")),
    ),
    ("liquid", "us"): (
        *_SMALL,
        *_tools("fluid_ounce", ("a 32 fl oz jug", "1", "32"), ("a 1 gal jug", "4", "128")),
        *_tools("gallon", ("a bucket with 1/4 gal marks", "0.25", "5")),
    ),
    ("dry", "metric"): (
        *_tools("gram", ("a kitchen scale", "1", "5000")),
        *_tools("kilogram", ("a hanging scale", "0.05", "50")),
    ),
    ("dry", "us"): (
        *_tools("gram", ("a kitchen scale", "1", "5000")),
        *_tools("pound", ("a hanging scale", "0.1", "110")),
    ),
}


def with_scale(tools: tuple[Tool, ...], step_kg: float) -> tuple[Tool, ...]:
    """The same with the keeper's own scale, which shows steps of `step_kg`, in place of the usual one."""
    own = replace(tools[0], name="your scale", step=settle(step_kg / tools[0].unit.size).normalize())
    return (own, *tools[1:])


@dataclass(frozen=True)
class Measured:
    """An amount as `tool` can show it, in its unit; `off` is how far its marks may put it off, as a fraction."""

    tool: Tool
    shown: Decimal
    fills: int
    off: float

    @property
    def good(self) -> bool:
        """Whether the tool's marks are fine enough."""
        return self.off <= MOST_OFF * (1 + 1e-9)

    def quantity(self, system: str) -> Quantity:
        """What to read on the tool."""
        unit, exact = self.tool.unit, float(self.shown) * self.tool.unit.size
        if not self.shown:
            return Quantity(f"under {self.tool.step}", 0.0, unit.symbol, unit.slug)
        return settled_quantity(self.shown, exact, unit, system)

    def with_what(self) -> str:
        """The tool, and how often it is filled."""
        return self.tool.name if self.fills == 1 else f"{self.tool.name}, filled {self.fills} times"


def measure(amount: float, tools: tuple[Tool, ...]) -> Measured:
    """What to measure `amount` (m³ or kg, above zero) with: fewest fills among the tools that are fine enough."""
    choices = [_measured(amount, tool) for tool in tools]
    fine = [choice for choice in choices if choice.off <= GOOD]
    if fine:
        return min(fine, key=lambda choice: (choice.fills, choice.off))
    return min(choices, key=lambda choice: choice.off)


def _measured(amount: float, tool: Tool) -> Measured:
    in_unit = amount / tool.unit.size
    step = float(tool.step)
    shown = Decimal(math.floor(in_unit / step + 0.5)) * tool.step
    fills = max(1, math.ceil(shown / tool.most))
    return Measured(tool, shown, fills, step / 2 / in_unit)


@dataclass(frozen=True)
class StockMix:
    """A stock to pour small amounts from: `product` made up to `volume_m3` with water, and `pour_m3` of it to pour."""

    product: Measured
    volume_m3: float
    pour_m3: float


def stock_mix(amount: float, tools: tuple[Tool, ...]) -> StockMix:
    """A litre of stock with enough product for the finest tool, from which `amount` (m³ or kg) can be poured."""
    finest = tools[0]
    product = _measured(_STOCK_STEPS * float(finest.step) * finest.unit.size, finest)
    return StockMix(product, LITRE_M3, LITRE_M3 * amount / (float(product.shown) * finest.unit.size))
