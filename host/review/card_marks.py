"""What a calibration card says in a few numbers, so that a season can weigh it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from host.calibrate.boom_card import as_shown, boom_card
from host.calibrate.cards import Card, active_card, load_cards
from host.calibrate.uncertainty import combine
from host.errors import DamagedFileError, UserError
from host.rig import Meter, PressureSensor
from host.rig.model import DAY_TO_DAY


@dataclass(frozen=True)
class CardMark:
    """One calibration, by its kind (boom, meter, pressure).

    `value` is, by kind: the logarithm of the boom's coefficient (m³/s/√Pa); that of the pulses per m³; the fraction of
    the supply at no pressure. `u` is what may differ from card to card (standard; relative, for pressure in Pa),
    `claimed` what the card says of itself (95 %, in the same unit).
    """

    kind: str
    made: str
    value: float
    u: float
    claimed: float

    @property
    def date(self) -> str:
        """Day of the calibration, ISO 8601."""
        return self.made[:10]


def card_marks(cards: Iterable[Card]) -> tuple[CardMark, ...]:
    """Those of meters, transducers and catch tests; a card that cannot be read is passed over (`compare` names it).

    What the newest transducer's points show of a gauge is taken out of all catch tests that were read from it.
    """
    cards = list(cards)
    newest = active_card(cards, "pressure")
    sensor = newest.section if newest and isinstance(newest.section, PressureSensor) else None
    return tuple(mark for card in cards if (mark := _mark(card, sensor, cards)) is not None)


def marks_in(folder: Path, rig_name: str) -> tuple[tuple[CardMark, ...], tuple[str, ...]]:
    """The marks of a rig's cards in a folder of cards, or the message of the one that cannot be read."""
    try:
        return card_marks(load_cards(folder, rig_name)), ()
    except UserError as error:
        return (), (str(error),)


def no_pressure(sensor: PressureSensor) -> tuple[float, float]:
    """The fraction of its supply that a transducer gives at no pressure, and Pa per fraction."""
    slope = (sensor.high_pa - sensor.low_pa) / (sensor.high_fraction - sensor.low_fraction)
    return sensor.low_fraction - sensor.low_pa / slope, slope


def _mark(card: Card, sensor: PressureSensor | None, cards: list[Card]) -> CardMark | None:
    made, part = card.made.isoformat(), card.section
    if isinstance(part, Meter):
        u = part.relative_uncertainty
        middle = part.curve[len(part.curve) // 2][1]
        return CardMark("meter", made, math.log(middle), math.hypot(u, DAY_TO_DAY), 2.0 * u)
    if isinstance(part, PressureSensor):
        u = part.uncertainty_pa
        return CardMark("pressure", made, no_pressure(part)[0], u, 2.0 * u)
    if card.kind != "boom":
        return None
    try:
        catch = as_shown(boom_card(card), sensor, cards)
    except DamagedFileError:
        return None
    pressure_pa = math.fsum(p for p, _ in catch.points) / len(catch.points)
    value = math.log(math.fsum(c for _, c in catch.points) / len(catch.points))
    # An error that two catch tests share (one jug, one gauge) does not make them differ.
    combined = combine(catch.parts[catch.nearest(pressure_pa)])
    own = math.sqrt(math.fsum(part.standard**2 for part in combined.components if not part.shared))
    return CardMark("boom", made, value, max(own, DAY_TO_DAY), combined.expanded)
