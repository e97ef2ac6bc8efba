"""How well a calibration is known, as every result tells it: a phrase for the answer, a budget under a fold."""

from __future__ import annotations

from typing import Any

from host.calibrate.uncertainty import LEVEL_OF_CONFIDENCE, Combined, student_factor
from host.documents.document import Column, Fact, Facts, Quantity, Section, Table
from host.units import UNITS


def good_to(combined: Combined, kind: str, system: str) -> str:
    """ "±1.4 %": the expanded uncertainty (95 %) in the unit of `kind`, two digits."""
    return f"±{_short(combined.expanded, kind, system).text}"


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
        ),
        folded=True,
    )


def budget_measured(combined: Combined) -> dict[str, Any]:
    """The budget for a card: relative results in percent."""
    return {
        "standard_percent": short(100 * combined.standard),
        "expanded_percent": short(100 * combined.expanded),
        "coverage_factor": short(combined.coverage),
        "degrees_of_freedom": short(combined.degrees),
        "components_percent": {part.name: short(100 * part.standard) for part in combined.components},
        # Errors that other cards may have from the same tool, so that they do not count twice.
        "shared": [
            {"error": part.shared, "percent": short(100 * part.standard)} for part in combined.components if part.shared
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
    value = value_si * unit.per_si
    rounded = float(f"{value:.2g}")
    return Quantity(f"{rounded:.0f}" if rounded >= 10 else f"{rounded:g}", value, unit.symbol, unit.slug)
