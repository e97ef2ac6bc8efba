"""How well a calibration is known, as every result tells it: a phrase for the answer, a budget under a fold."""

from __future__ import annotations

import math
from typing import Any

from host.calibrate.uncertainty import LEVEL_OF_CONFIDENCE, Combined, student_factor
from host.documents.document import Column, Fact, Facts, Message, Messages, Quantity, Section, Table
from host.units import UNITS, rounded_up


def good_to(combined: Combined, kind: str, system: str) -> str:
    """ "±1.4 %": the expanded uncertainty (95 %) in the unit of `kind`, two digits."""
    return f"±{_short(combined.expanded, kind, system).text}"


def plus_minus_text(expanded: float, kind: str, system: str) -> str:
    """ "± 1.4 %": an expanded uncertainty (SI) by itself, with the digits that `good_to` has."""
    return f"± {_short(expanded, kind, system).text}"


def budget_section(combined: Combined, kind: str, system: str) -> Section:
    """The uncertainty with its parts; `kind` is "fraction" for relative ones."""
    parts = tuple((part.name, _short(part.standard, kind, system)) for part in combined.components)
    degrees = combined.degrees if combined.degrees < 1e6 else None
    return Section(
        "uncertainty",
        "Uncertainty",
        (
            Facts(
                (
                    Fact("expanded", "Expanded (95 %)", _short(combined.expanded, kind, system)),
                    Fact("standard", "Standard", _short(combined.standard, kind, system)),
                    Fact("coverage_factor", "k", Quantity(f"{combined.coverage:.2f}", combined.coverage)),
                    Fact("degrees_of_freedom", "", degrees),
                )
            ),
            Table("components", (Column("component", "Part"), Column("standard", "Standard uncertainty")), parts),
            Messages((Message(how_to_improve(combined, kind, system), "advice", "improve"),)),
        ),
        folded=True,
    )


# What makes a part smaller, by how its name begins: common practice.
_IMPROVE = (
    ("scale of the jug", "weigh the catches, or find out how good the jug is"),
    ("scale of the balance", "check the balance with a known weight"),
    ("scale of the tank", "catch in a jug, or weigh"),
    ("marks of the", "use finer marks, weigh, or catch more at a time"),
    ("repeatability", "catch more often"),
    ("between the flows", "catch at more flows"),
    ("accuracy of the gauge", "compare the gauge with a better one"),
    ("reading", "use finer marks"),
    ("scatter about", "take more pressures"),
    ("zero", "take points at two or more pressures"),
    ("span", "take a point near the highest spraying pressure"),
    ("length of the course", "measure the course with a better tape"),
    ("slip", "roll the course more often"),
    ("± 1 pulse", "take a longer course, or fit more magnets"),
    ("stopwatch", "take a longer course"),
    ("pace", "walk it more often, to a beat"),
    ("time", "catch for longer"),
    ("pressure from", "let the board read the pressure, or catch all nozzles at once"),
    ("transducer", "calibrate the transducer"),
)


def how_to_improve(combined: Combined, kind: str, system: str) -> str:
    """Which part to make smaller first, how, and what it would bring at the most."""
    largest = combined.largest
    advice = improvement(largest.name)
    now, without = (_short(one.expanded, kind, system) for one in (combined, combined.without(largest)))
    return f"Largest part: {largest.name}. To improve it, {advice}: ±{now.number} → down to ±{without.text}."


def improvement(part: str) -> str:
    """What makes a part of a budget smaller, by its name."""
    return next((advice for begins, advice in _IMPROVE if part.startswith(begins)), "calibrate again")


def budget_measured(combined: Combined, unit: str = "percent", per_si: float = 100.0) -> dict[str, Any]:
    """The budget for a card: relative results in percent, others in a `unit` of which one in SI has `per_si`."""

    def value(of: float) -> float:
        return short(per_si * of)

    parts = combined.components
    return {
        f"standard_{unit}": value(combined.standard),
        f"expanded_{unit}": value(combined.expanded),
        "coverage_factor": short(combined.coverage),
        "degrees_of_freedom": short(combined.degrees),
        f"components_{unit}": {part.name: value(part.standard) for part in parts},
        # Errors that other cards may have from the same tool, so that they do not count twice.
        "shared": [
            {"error": part.shared, unit: value(part.standard), "even": part.even} for part in parts if part.shared
        ],
    }


def widened(relative_u: float) -> float:
    """The expanded uncertainty (95 %) of a standard one of which nothing else is known: as of a normal one."""
    return relative_u * student_factor(LEVEL_OF_CONFIDENCE, 1e9)


def short(value: float) -> float:
    """Seven significant digits: far below any uncertainty here."""
    return float(f"{value:.7g}")


def _short(value_si: float, kind: str, system: str) -> Quantity:
    """Two significant digits, as uncertainties are given (GUM 7.2.6), never as a power of ten."""
    unit = UNITS[system][kind]
    value = abs(value_si * unit.per_si)
    places = 0 if value == 0 else 1 - math.floor(math.log10(value))
    rounded = rounded_up(value, places)  # never less than it is
    return Quantity(f"{rounded:.{0 if rounded >= 10 else max(places, 0)}f}", value, unit.symbol, unit.slug)
