"""Which calibration cards a run uses that the run before it did not: a wrong one is noticed when it is first used."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from host.calibrate.cards import Card, active_card, active_cards, cards_of_run
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import Kind
from host.errors import UserError
from host.journal import FileFollower, RunReader
from host.rig import rig_from_toml
from host.run_folder import list_runs

_LOOKED_AT = 30  # runs, the newest first: one of the same sprayer is among them, or long ago


def cards_of_last_run(folder: Path, run: Path, rig_name: str) -> list[Card] | None:
    """The cards of the run of this sprayer before `run`, in the folder of runs; None when there is none.

    Runs that cannot be read are passed over.
    """
    try:
        others = [one for one in list_runs(folder)[0] if one.path != run]
    except UserError:
        return None
    for one in sorted(others, key=lambda one: one.modified_ns, reverse=True)[:_LOOKED_AT]:
        try:
            name, cards = _head(one.path)
        except UserError:
            continue
        if name == rig_name:
            return cards
    return None


def new_cards_message(cards: Sequence[Card], before: Sequence[Card] | None, kinds: Iterable[Kind] = KINDS) -> str:
    """Which of the active `cards` were not active `before`, and which are not any more; empty when nothing changed.

    Empty, too, when there was no run before (None): then all are new, and nobody is surprised.
    """
    if before is None:
        return ""
    titles = {kind.name: kind.title.lower() for kind in kinds}
    old, now = {card.toml for card in active_cards(before)}, active_cards(cards)
    new = [_named(card, titles) for card in now if card.toml not in old]
    gone = [titles.get(card.kind, card.kind) for card in active_cards(before) if active_card(now, card.kind) is None]
    said = []
    if new:
        said.append(f"New since the last run: {'; '.join(new)}.")
    if gone:
        said.append(f"As in the rig file again: {', '.join(gone)}.")
    return " ".join(said)


def _named(card: Card, titles: dict[str, str]) -> str:
    result = str(card.measurements.get("result", ""))
    return f"{titles.get(card.kind, card.kind)}, {card.made:%d %b %H:%M}" + (f", {result}" if result else "")


def _head(run: Path) -> tuple[str, list[Card]]:
    """Name of the sprayer and cards at the head of a run. Raises UserError when they cannot be read."""
    reader, name, kept = RunReader(), "", []
    with FileFollower(run) as source:
        while data := source.poll():
            batch = reader.push(data)
            for event in batch.events:
                if event.kind == "rig":
                    name = rig_from_toml(str(event.detail.get("toml", "")), f"the rig in run {run.name}").name
                elif event.kind == "calibration" and event.detail not in kept:  # written twice, for safety
                    kept.append(event.detail)
            if len(batch.frames):  # the head is over
                break
    return name, cards_of_run(kept)
