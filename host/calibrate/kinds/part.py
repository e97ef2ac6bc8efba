"""How kinds write and tell what is known of a part of the rig."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from host.calibrate.budget import plus_minus_text, widened
from host.calibrate.cards import Card
from host.documents.document import Quantity
from host.rig import Rig
from host.units import rounded_up


def rig_percent(relative_u: float) -> str:
    """An uncertainty as a rig file has it: "0.5721 %", never less than it is (GUM 7.2.6)."""
    return f"{rounded_up(100 * relative_u, 4):.7g} %"


def signed_percent(fraction: float, decimals: int = 1) -> Quantity:
    """ "+0.27" with its unit %, for a column of departures."""
    return Quantity(f"{100 * fraction:+.{decimals}f}", 100 * fraction, "%", "percent")


def measured_number(card: Card | None, key: str) -> float | None:
    """A number among a card's measurements; None without a card, or where it has none such."""
    value: Any = None if card is None else card.measurements.get(key)
    return float(value) if isinstance(value, int | float) else None


def percent_known(part: str) -> Callable[[Rig, Card | None], str]:
    """For a part with a relative uncertainty: "± 1.4 %" (95 %), from the card, or the rig's standard one widened."""

    def plus_minus(rig: Rig, card: Card | None) -> str:
        on_card = measured_number(card, "expanded_percent")
        expanded = widened(getattr(rig, part).relative_uncertainty) if on_card is None else on_card / 100.0
        return plus_minus_text(expanded, "fraction", rig.units)

    return plus_minus
