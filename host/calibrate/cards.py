"""Calibration cards: dated TOML files, one per calibration, never overwritten; the newest of each kind is active.

A card carries the section of the rig file that it replaces, in the rig file's own words, so it can be read, checked
and copied by hand; the rest of it says what was done. A run keeps the cards that were active (`snapshot`), so an
old run can be read as it was recorded, or again with better cards.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from host.errors import DamagedFileError, NotSavedError, reason_of
from host.rig import CalibratedPart, Rig, parts_from_sections
from host.toml_text import toml_tree
from host.whole_file import read_whole

FORMAT = 2
UNUSED = "unused"  # folder beside the cards, for those that are not used
_READABLE = (1, 2)  # 1 called the measurements a record


@dataclass(frozen=True)
class Card:
    """One calibration. `toml` is the whole text; `section` the part of the rig that it replaces, if any."""

    kind: str
    rig_name: str
    made: datetime
    section: CalibratedPart | None
    toml: str

    @property
    def measurements(self) -> dict[str, Any]:
        """What was measured, as its kind writes it; a card of format 1 has other names for some of it."""
        tree = tomllib.loads(self.toml)
        found = tree.get("measurements", tree.get("record"))
        return found if isinstance(found, dict) else {}


def make_card(
    kind: str, rig_name: str, made: datetime, section: Mapping[str, Any], measurements: Mapping[str, Any]
) -> Card:
    """A card from its rig section (values as in a rig file) and what was measured. `made` has a zone."""
    import tomli_w

    content: dict[str, Any] = {"format": FORMAT, "kind": kind, "rig": rig_name, "made": made.replace(microsecond=0)}
    if section:
        content[kind] = dict(section)
    content["measurements"] = dict(measurements)
    return card_from_toml(tomli_w.dumps(content))


def card_from_toml(text: str, where: str = "calibration card") -> Card:
    """Read a card's text. Raises DamagedFileError when it is not one."""
    tree = toml_tree(text, where, "mend it or move it out of the folder.")
    kind, rig_name, made = tree.get("kind"), tree.get("rig"), tree.get("made")
    if tree.get("format") not in _READABLE:
        raise DamagedFileError(
            f"{where} has format {tree.get('format')!r}, this Swardflow reads up to {FORMAT}: update Swardflow."
        )
    named = isinstance(kind, str) and bool(re.fullmatch(r"[a-z]{1,20}", kind)) and isinstance(rig_name, str)
    if not named or not isinstance(made, datetime) or made.tzinfo is None:
        raise DamagedFileError(
            f"{where} lacks its kind, rig or date: it is not a calibration card; move it out of the folder."
        )
    assert isinstance(kind, str) and isinstance(rig_name, str)
    section = parts_from_sections({kind: tree[kind]}, where).get(kind) if kind in tree else None
    for name, value in tree.items():
        if isinstance(value, dict) and name not in (kind, "measurements", "record"):
            raise DamagedFileError(f"{where} is of kind {kind} and has a section [{name}]: mend it or move it away.")
    if section is None and kind in Rig.__dataclass_fields__:
        raise DamagedFileError(f"{where} has no section [{kind}]: it is not whole; calibrate again.")
    return Card(kind, rig_name, made, section, text)


def save_card(card: Card, folder: Path, *, used: bool = True) -> Path:
    """Write the card as a new file in the folder of its rig and give its path; nothing is ever overwritten.

    One that is not to be `used` goes into the folder "unused" there.

    Raises NotSavedError when it cannot be written.
    """
    home = folder / slug(card.rig_name)
    place, other = (home, home / UNUSED) if used else (home / UNUSED, home)
    stem = f"{card.made:%Y-%m-%dT%H%M%S}-{card.kind}"
    try:
        place.mkdir(parents=True, exist_ok=True)
        for attempt in range(1, 1000):
            path = place / (f"{stem}.toml" if attempt == 1 else f"{stem}-{attempt}.toml")
            if (other / path.name).exists():  # a card may come back from there under its name
                continue
            try:
                with path.open("x", encoding="utf-8") as file:
                    file.write(card.toml)
            except FileExistsError:
                continue
            return path
    except OSError as error:
        reason = reason_of(error)
        raise NotSavedError(
            f"the card cannot be written to {home} ({reason}): make room there, or choose another folder."
        ) from None
    raise NotSavedError(f"folder {home} holds a thousand cards of one second: clear it up.")


def load_cards(folder: Path, rig_name: str) -> list[Card]:
    """All cards of a rig that may be used, oldest first; empty when it has none.

    Raises DamagedFileError on a card that cannot be read.
    """
    return [card for _, card in cards_in(folder / slug(rig_name), rig_name)]


def cards_in(home: Path, rig_name: str) -> list[tuple[Path, Card]]:
    """The cards of a rig directly in a folder, oldest first. Raises DamagedFileError on one that cannot be read."""
    cards = []
    for path in sorted(home.glob("*.toml"), key=_as_saved):
        try:
            card = card_from_toml(read_whole(path).decode("utf-8"), f"calibration card {path}")
        except (OSError, UnicodeDecodeError):
            raise DamagedFileError(
                f"calibration card {path} cannot be read: mend it or move it out of the folder."
            ) from None
        # Two names may share a folder ("Boom 1", "boom-1"): the name in the card decides.
        if card.rig_name == rig_name:
            cards.append((path, card))
    return sorted(cards, key=lambda found: found[1].made)


def _as_saved(path: Path) -> tuple[str, int]:
    """Order of the files: of several saved in one second the later ones have a number behind."""
    found = re.fullmatch(r"(.*?)(?:-(\d{1,3}))?", path.stem, re.DOTALL)
    assert found is not None
    return found[1], int(found[2] or 1)


def active_cards(cards: Iterable[Card]) -> list[Card]:
    """The newest card of each kind, kinds by name. Of two made in the same second the later one given."""
    newest: dict[str, Card] = {}
    for card in cards:
        if card.kind not in newest or card.made >= newest[card.kind].made:
            newest[card.kind] = card
    return [newest[kind] for kind in sorted(newest)]


def active_card(cards: Iterable[Card], kind: str) -> Card | None:
    """The active card of a kind; None without one."""
    return next((card for card in active_cards(cards) if card.kind == kind), None)


def apply_cards(rig: Rig, cards: Iterable[Card]) -> Rig:
    """The rig with the sections of its active cards in place of its own.

    A card for a part that the rig does not have (no transducer, a wheel where there is a course) changes nothing.
    """
    parts = {card.kind: card.section for card in active_cards(cards) if card.section is not None}
    return replace(rig, **{kind: part for kind, part in parts.items() if getattr(rig, kind) is not None})  # type: ignore[arg-type]


def snapshot(cards: Iterable[Card]) -> list[dict[str, Any]]:
    """What a run file keeps of the active cards: one JSON-ready mapping each."""
    return [{"kind": card.kind, "toml": card.toml} for card in active_cards(cards)]


def cards_of_run(calibrations: Sequence[Mapping[str, Any]]) -> list[Card]:
    """The cards that a run file kept. Raises DamagedFileError when one is not readable."""
    return [card_from_toml(str(kept.get("toml", "")), "a calibration card in the run file") for kept in calibrations]


def slug(name: str) -> str:
    """A file name from any name: letters and digits, joined by hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "rig"
