"""How well each calibrated part of a sprayer is known, and from where: its active card, or the rig file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from host.calibrate.cards import Card, active_card
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import Kind
from host.rig import Rig


@dataclass(frozen=True)
class Status:
    """One kind of calibration: its title, when its card was made (None: there is no card), and ± for 95 % as text.

    `plus_minus` is empty where nothing is known: a boom without a catch test.
    """

    kind: str
    title: str
    made: datetime | None
    plus_minus: str


def calibration_status(rig: Rig, cards: Iterable[Card], kinds: Iterable[Kind] = KINDS) -> list[Status]:
    """The calibrated parts that this rig has. `rig` has the cards applied (`apply_cards`)."""
    found = []
    for kind in kinds:
        if not kind.fits(rig):
            card = active_card(cards, kind.name)
            found.append(Status(kind.name, kind.title, card.made if card else None, kind.plus_minus(rig, card)))
    return found
