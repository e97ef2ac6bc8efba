"""Which of a rig's cards are used: a card that is not lies in the folder "unused" beside the others.

Every choice moves files and nothing else, and can be undone once.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from host.calibrate.cards import UNUSED, Card, active_cards, cards_in, slug
from host.errors import BadInputError, NotFoundError, NotSavedError, reason_of
from host.whole_file import write_whole

_LAST = "last-change.json"  # in the folder of the unused ones: names, and whether each was used before


@dataclass(frozen=True)
class SavedCard:
    """A card and its file; `active` is the newest used one of its kind."""

    card: Card
    path: Path
    used: bool
    active: bool

    @property
    def name(self) -> str:
        """What it is called in a list."""
        return self.path.stem


def saved_cards(folder: Path, rig_name: str) -> list[SavedCard]:
    """All cards of a rig, used or not, oldest first. Raises DamagedFileError on one that cannot be read."""
    home = folder / slug(rig_name)
    used = cards_in(home, rig_name)
    active = active_cards(card for _, card in used)
    found = [SavedCard(card, path, True, card in active) for path, card in used]
    found += [SavedCard(card, path, False, False) for path, card in cards_in(home / UNUSED, rig_name)]
    return sorted(found, key=lambda saved: saved.card.made)


def use_card(folder: Path, rig_name: str, name: str) -> str:
    """Make a card the active one of its kind: newer ones are not used any more. What was done, as a message.

    Raises NotFoundError, BadInputError when it is active already, NotSavedError when files cannot be moved.
    """
    cards = saved_cards(folder, rig_name)
    chosen = _named(cards, name)
    if chosen.active:
        raise BadInputError(f"the card {name} is in use already: choose another.")
    later = cards[cards.index(chosen) + 1 :]
    newer = [saved for saved in later if saved.used and saved.card.kind == chosen.card.kind]
    _move(folder / slug(rig_name), [*newer, *([] if chosen.used else [chosen])])
    return f"The card of {_day(chosen)} is in use. New runs will use it."


def stop_using(folder: Path, rig_name: str, name: str) -> str:
    """Use a card no more; the one before it of its kind, or the rig file, takes its place. What was done.

    Raises as `use_card`.
    """
    chosen = _named(saved_cards(folder, rig_name), name)
    if not chosen.used:
        raise BadInputError(f"the card {name} is not in use: choose another.")
    _move(folder / slug(rig_name), [chosen])
    same = [saved for saved in saved_cards(folder, rig_name) if saved.active and saved.card.kind == chosen.card.kind]
    instead = f"the card of {_day(same[0])}" if same else "the rig file"
    return f"The card of {_day(chosen)} is not used any more. New runs will use {instead}."


def undo_choice(folder: Path, rig_name: str) -> str:
    """Undo the last change of what is used. What was done. Raises BadInputError when there is none."""
    home = folder / slug(rig_name)
    try:
        before: dict[str, bool] = json.loads((home / UNUSED / _LAST).read_text(encoding="utf-8"))
        wrong = [saved for saved in saved_cards(folder, rig_name) if before.get(saved.name, saved.used) != saved.used]
    except (OSError, ValueError, AttributeError):
        wrong = []
    if not wrong:
        raise BadInputError("there is no change of cards to undo.")
    _move(home, wrong)
    return "Undone: new runs will use the cards as before."


def _named(cards: Sequence[SavedCard], name: str) -> SavedCard:
    for saved in cards:
        if saved.name == name:
            return saved
    raise NotFoundError(f"there is no card {name}: take a name from the list of cards.")


def _move(home: Path, cards: Sequence[SavedCard]) -> None:
    """Move each to the other side, and note where it was."""
    unused = home / UNUSED
    try:
        unused.mkdir(exist_ok=True)
        write_whole(unused / _LAST, json.dumps({saved.name: saved.used for saved in cards}).encode())
        for saved in cards:
            saved.path.rename((unused if saved.used else home) / saved.path.name)
    except OSError as error:
        reason = reason_of(error)
        raise NotSavedError(f"the cards in {home} cannot be moved ({reason}): check its rights.") from None


def _day(saved: SavedCard) -> str:
    return f"{saved.card.made:%Y-%m-%d %H:%M}"
