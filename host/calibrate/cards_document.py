"""The cards of a rig as a list: what each says, and which are active."""

from __future__ import annotations

from collections.abc import Sequence

from host.calibrate.cards import Card, active_cards
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import Kind
from host.documents.document import Column, Document, Section, Table


def cards_document(cards: Sequence[Card], rig_name: str, kinds: Sequence[Kind] = KINDS) -> Document:
    """The list of `cards`, oldest first."""
    titles = {kind.name: kind.title for kind in kinds}
    active = active_cards(cards)
    columns = (
        Column("made", ""),
        Column("kind", ""),
        Column("", "Made"),
        Column("", "Of"),
        Column("result", "Result"),
        Column("", "Use"),
        Column("active", ""),
    )
    rows = tuple(
        (
            card.made.isoformat(),
            card.kind,
            f"{card.made:%Y-%m-%d %H:%M}",
            titles.get(card.kind, card.kind),
            str(card.measurements.get("result", "")),
            "active" if card in active else "",
            card in active,
        )
        for card in cards
    )
    answer = f"{len(active)} of {len(cards)} cards are active" if cards else "No cards: the rig file's numbers are used"
    return Document(
        "cards", f"Calibration cards of {rig_name}", answer, (Section("", "", (Table("cards", columns, rows),)),)
    )
