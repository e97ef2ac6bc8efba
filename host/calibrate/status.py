"""How well each part of a sprayer is known, and from where: the cards in force, or the word of the rig file."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from host.calibrate.boom_card import boom_card
from host.calibrate.cards import Card, in_force
from host.calibrate.uncertainty import LEVEL_OF_CONFIDENCE, combine, student_factor
from host.errors import DamagedFileError
from host.rig import Rig
from host.units import format_value


@dataclass(frozen=True)
class Standing:
    """One kind of calibration: when its card was made (None: there is no card), and ± for 95 % as text.

    `plus_minus` is empty where nothing is known: a boom that has not been caught.
    """

    kind: str
    made: datetime | None
    plus_minus: str


def standings(rig: Rig, cards: Iterable[Card]) -> list[Standing]:
    """The calibrated parts that this rig has, the boom last. `rig` has the cards applied (`apply_cards`)."""
    held = {card.kind: card for card in in_force(cards)}
    return [
        _standing(kind, rig, held.get(kind))
        for kind in ("meter", "pressure", "wheel", "course", "boom")
        if _has(rig, kind)
    ]


def _has(rig: Rig, kind: str) -> bool:
    return kind == "boom" or getattr(rig, kind) is not None


def _standing(kind: str, rig: Rig, card: Card | None) -> Standing:
    made = card.made if card else None
    if kind == "boom":
        return Standing(kind, made, _boom(card) if card else "")
    # A card without the expanded one, or the rig file, gives the standard uncertainty: widened as a normal one is.
    widened = student_factor(LEVEL_OF_CONFIDENCE, 1e9)
    expanded = _expanded(card)
    if kind == "pressure":
        assert rig.pressure is not None
        pascal = rig.pressure.uncertainty_pa * widened if expanded is None else expanded * 1e3
        return Standing(kind, made, f"± {format_value(pascal, 'pressure', rig.units)}")
    part = getattr(rig, kind)
    percent = 100 * part.relative_uncertainty * widened if expanded is None else expanded
    return Standing(kind, made, f"± {percent:.1f} %")


def _expanded(card: Card | None) -> float | None:
    """The expanded uncertainty on a card: percent, for a transducer kPa; None without one."""
    if card is None:
        return None
    record = tomllib.loads(card.toml).get("record", {})
    value = record.get("expanded_kPa" if card.kind == "pressure" else "expanded_percent")
    return float(value) if isinstance(value, int | float) else None


def _boom(card: Card) -> str:
    try:
        return f"± {100 * max(combine(parts).expanded for parts in boom_card(card).parts):.1f} %"
    except DamagedFileError:
        return "its card cannot be read: catch the boom again"
