"""What every page may look at: the folders, and the sprayer that is being used."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import host.rig
from dashboards.run_cache import RunCache
from dashboards.sharing.guests import Guests
from host.calibrate.cards import Card, apply_cards, load_cards
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import Kind
from host.errors import DamagedFileError
from host.journal.follow import FileFollower
from host.journal.reader import RunReader
from host.rig import Rig, load_rig, rig_from_toml
from host.run_folder import newest_run

EXAMPLE = Path(host.rig.__file__).parent / "examples" / "harrow-lea-pull-behind.toml"
_HEAD = 4  # blocks of a run in which its rig stands


@dataclass(frozen=True)
class RigInUse:
    """A sprayer with its cards applied, and where it comes from, as a sentence; `own` is False for the example."""

    rig: Rig
    said: str
    own: bool
    cards: tuple[Card, ...] = ()


@dataclass(frozen=True)
class PageContext:
    """Folders of the runs and of the calibration cards, kinds of calibration that are offered, and who was let in."""

    runs: Path
    cards: Path
    kinds: tuple[Kind, ...] = KINDS
    guests: Guests | None = None  # None while the pages are for this computer alone

    @cached_property
    def run_cache(self) -> RunCache:
        """The library of these runs, one for all pages."""
        return RunCache(self.runs)

    def rig(self) -> RigInUse:
        """The rig of the newest run, with its active calibration cards; without a run the example rig.

        Raises UserError when run, rig or a card cannot be read.
        """
        run = newest_run(self.runs)
        if run is None:
            rig = load_rig(EXAMPLE)
            return RigInUse(rig, f"No run yet, so these are the numbers of the example rig {rig.name}.", False)
        rig = rig_of_run(run)
        cards = load_cards(self.cards, rig.name)
        held = f" with {len(cards)} calibration card{'' if len(cards) == 1 else 's'}" if cards else ""
        return RigInUse(apply_cards(rig, cards), f"{rig.name}, as in run {run.stem}{held}.", True, tuple(cards))


def rig_of_run(run: Path) -> Rig:
    """The rig that a run was recorded with. Raises UserError when the run does not hold one."""
    reader = RunReader()
    with FileFollower(run) as source:
        for _ in range(_HEAD):
            for event in reader.push(source.poll()).events:
                if event.kind == "rig":
                    return rig_from_toml(str(event.detail.get("toml", "")), f"the rig in run {run.name}")
    raise DamagedFileError(f"run {run.name} holds no rig: start a new recording.")
