"""The cards of a rig as a list: what each says, and which are used."""

from __future__ import annotations

from collections.abc import Sequence

from host.calibrate.card_choice import SavedCard
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import Kind
from host.documents.document import Column, Document, Section, Table


def cards_document(cards: Sequence[SavedCard], rig_name: str, kinds: Sequence[Kind] = KINDS) -> Document:
    """The list of `cards`, the newest first."""
    titles = {kind.name: kind.title for kind in kinds}
    columns = (
        Column("card", "Card"),
        Column("kind", ""),
        Column("made", ""),
        Column("", "Of"),
        Column("result", "Result"),
        Column("", "Use"),
        Column("used", ""),
        Column("active", ""),
    )
    rows = tuple(
        (
            saved.name,
            saved.card.kind,
            saved.card.made.isoformat(),
            titles.get(saved.card.kind, saved.card.kind),
            result_of(saved),
            use_of(saved),
            saved.used,
            saved.active,
        )
        for saved in reversed(cards)
    )
    active = sum(saved.active for saved in cards)
    answer = f"{active} of {len(cards)} cards in use" if cards else "No cards: the rig file's numbers are used"
    table = Table("cards", columns, rows)
    return Document("cards", f"Calibration cards of {rig_name}", answer, (Section("", "", (table,)),))


def result_of(saved: SavedCard) -> str:
    """The result in the words in which it was told; an older card has none."""
    return str(saved.card.measurements.get("result", ""))


def use_of(saved: SavedCard) -> str:
    """Whether it is used."""
    return "in use" if saved.active else "" if saved.used else "not used"
