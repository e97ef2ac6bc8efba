"""What a run is read under: the rig and the calibrations recorded in it, or others, without touching the file."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path

from host.calibrate.cards import Card, active_cards, apply_cards, cards_of_run, load_cards
from host.errors import DamagedFileError, NotFoundError, UserError
from host.journal import RunFile
from host.rig import Rig, rig_from_toml


@dataclass(frozen=True)
class Under:
    """`rig` stands in for the recorded rig and its cards; the newest cards in the folder `cards` for those recorded.

    Kinds of which the folder holds no card stay as they were recorded. Of catch tests only those made before the run
    count: a later one says nothing of the boom as it was.
    """

    rig: Rig | None = None
    cards: Path | None = None

    def read(self, run: RunFile) -> tuple[Rig, tuple[Card, ...]]:
        """The rig to read `run` under and the cards that hold for it, the applied ones and the catch test.

        Raises UserError when there is no readable rig, or a card cannot be read.
        """
        own = cards_of_run(run.calibrations)
        if self.rig is not None:
            own = [card for card in own if card.kind == "boom"]
        rig = self.rig or _recorded(run)
        if self.cards is not None:
            found = [card for card in load_cards(self.cards, rig.name) if card.kind != "boom" or _before(card, run)]
            newer = active_cards(found)
            own = [*newer, *(card for card in own if card.kind not in {one.kind for one in newer})]
        return apply_cards(rig, own), tuple(active_cards(own))

    @property
    def key(self) -> str:
        """Names this way of reading: another rig file or other cards give another key. Empty for what is recorded."""
        if self.rig is None and self.cards is None:
            return ""
        digest = hashlib.sha256((self.rig.toml if self.rig else "").encode())
        for path in sorted(self.cards.glob("*/*.toml")) if self.cards else ():
            try:
                digest.update(path.read_bytes())
            except OSError:  # each run will tell
                continue
        return digest.hexdigest()


RECORDED = Under()


def under_cards(folder: Path, rig: Rig | None = None) -> Under:
    """Reading under the newest cards in `folder`. Raises UserError when it holds no cards at all."""
    folder = folder.expanduser()
    if not any(folder.glob("*/*.toml")):
        raise NotFoundError(f"there are no calibration cards in {folder}: give the folder that holds them")
    return Under(rig, folder)


def _recorded(run: RunFile) -> Rig:
    if not run.rig_toml:
        raise DamagedFileError(
            f"the rig recorded in {run.path} is damaged beyond reading: read the run under another rig file"
        )
    try:
        return _rig(run.rig_toml)
    except UserError:  # once more, for the sentence to say where
        return rig_from_toml(run.rig_toml, where=f"the rig recorded in {run.path}")


@lru_cache(maxsize=32)  # a library has many runs of few rigs, and units take longer to read than some runs
def _rig(toml: str) -> Rig:
    return rig_from_toml(toml)


def _before(card: Card, run: RunFile) -> bool:
    try:
        started = datetime.fromisoformat(str(run.header.get("started", "")))
    except ValueError:
        return False
    return card.made <= (started if started.tzinfo else started.astimezone())
