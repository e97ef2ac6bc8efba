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


# Of each part, by how its name begins: what it is of, and what makes it smaller. Common practice.
_PARTS = (
    ("scale of the jug", "how true the jug is", "weigh the catches, or find out how good the jug is"),
    ("scale of the balance", "how true the balance is", "check the balance with a known weight"),
    ("scale of the tank", "how true the tank marks are", "catch in a jug, or weigh"),
    ("marks of the", "how you read the marks", "use finer marks, weigh, or catch more at a time"),
    ("repeatability", "how much the meter scatters", "catch more often"),
    ("between the flows", "how the factor bends between the flows caught", "catch at more flows"),
    ("accuracy of the gauge", "how true the gauge is", "compare the gauge with a better one"),
    ("reading of the gauge", "how you read the gauge", "use finer marks"),
    ("reading", "how you read the marks", "use finer marks"),
    ("scatter about", "how far the transducer is off a line", "take more pressures"),
    ("zero", "how true the zero is", "take points at two or more pressures"),
    ("span", "how true the span is", "take a point near the highest spraying pressure"),
    ("length of the course", "how true the tape is", "measure the course with a better tape"),
    ("slip", "how much the wheel slips", "roll the course more often"),
    ("± 1 pulse", "where the magnet stands as a lap begins", "take a longer course, or fit more magnets"),
    ("stopwatch", "how you stop the watch", "take a longer course"),
    ("pace", "how much your pace varies", "walk it more often, to a beat"),
    ("mean pace", "how much your pace varies", "walk it more often, to a beat"),
    ("time", "how you stop the watch", "catch for longer"),
    (
        "pressure from",
        "how far the pressure wanders from nozzle to nozzle",
        "let the board read the pressure, or catch all nozzles at once",
    ),
    ("transducer", "how true the transducer is", "calibrate the transducer"),
)
_WORTH_SAYING = 0.1  # of the ±: below that it changes only the second of the two digits that are shown
_SHARES = ((0.85, "Nearly all"), (0.6, "Most"), (0.4, "About half"), (0.25, "About a third"), (0.0, "Some"))


def assumed_messages(combined: Combined) -> tuple[Message, ...]:
    """What of the ± was not measured, as every result says it; nothing where little of it is."""
    said = what_is_assumed(combined)
    return (Message(said, "advice", "assumed"),) if said else ()


def what_is_assumed(combined: Combined) -> str:
    """How much of the ± is for what was told or assumed, or seen too seldom; what that is, and what would measure it.

    Named are the parts of which each alone makes a tenth of the ± or more by what of it no reading shows and by its few
    degrees of freedom: they may be smaller than that, and the ± is wider then than it had to be. Empty without any.
    """
    if not combined.expanded > 0:
        return ""

    def share(*names: str) -> float:
        return 1.0 - combined.measured(names).expanded / combined.expanded

    by_name = {part.name: share(part.name) for part in combined.components}
    names = sorted((name for name, size in by_name.items() if size >= _WORTH_SAYING), key=lambda name: -by_name[name])
    if not names:
        return ""
    much = next(word for least, word in _SHARES if share(*names) >= least)
    what = list(dict.fromkeys(_known_of(name)[0] for name in names))
    listed = what[0] if len(what) == 1 else f"{', '.join(what[:-1])} and {what[-1]}"
    return (
        f"{much} of this ± is for what was measured too little or not at all: {listed}. "
        f"To measure it, {improvement(names[0])}."
    )


def _known_of(part: str) -> tuple[str, str]:
    """What a part of a budget is of, and what makes it smaller."""
    known = ((what, advice) for begins, what, advice in _PARTS if part.startswith(begins))
    return next(known, (part, "calibrate again"))


def improvement(part: str) -> str:
    """What makes a part of a budget smaller, by its name."""
    return _known_of(part)[1]


def how_to_improve(combined: Combined, kind: str, system: str) -> str:
    """Which part to make smaller first, how, and what it would bring at the most."""
    largest = combined.largest
    advice = improvement(largest.name)
    now, without = (_short(one.expanded, kind, system) for one in (combined, combined.without(largest)))
    return f"Largest part: {largest.name}. To improve it, {advice}: ±{now.number} → down to ±{without.text}."


def budget_measured(combined: Combined, unit: str = "percent", per_si: float = 100.0) -> dict[str, Any]:
    """The budget for a card: relative results in percent, others in a `unit` of which one in SI has `per_si`."""

    def value(of: float) -> float:
        return short(per_si * of)

    parts = combined.components
    assumed = what_is_assumed(combined)
    return {
        f"standard_{unit}": value(combined.standard),
        f"expanded_{unit}": value(combined.expanded),
        "coverage_factor": short(combined.coverage),
        "degrees_of_freedom": short(combined.degrees),
        f"components_{unit}": {part.name: value(part.standard) for part in parts},
        **({"assumed": assumed} if assumed else {}),
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
