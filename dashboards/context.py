"""What every page may look at: the folders, the settings, and the sprayer that is being used."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import host.rig
from dashboards.run_cache import RunCache
from dashboards.sharing.guests import Guests
from dashboards.supervision import Supervisor
from dashboards.web.units_choice import shown_units
from host.calibrate.cards import Card, apply_cards, load_cards
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import Kind
from host.errors import DamagedFileError, NotFoundError, UserError
from host.journal.follow import FileFollower
from host.journal.reader import RunReader
from host.rig import Rig, load_rig, rig_from_toml
from host.rig.known import KnownRig, find_rig, known_rigs
from host.rig.rig_folder import add_rig
from host.run_folder import newest_run
from host.settings import Settings, changed, load_settings, save_settings

EXAMPLE = Path(host.rig.__file__).parent / "examples" / "harrow-lea-pull-behind.toml"
LAST_RUN = "last run"  # in place of a rig's name: that of the newest run
_HEAD = 4  # blocks of a run in which its rig stands


@dataclass(frozen=True)
class RigInUse:
    """A sprayer with its cards applied, and where it comes from, as a sentence; `own` is False for the example."""

    rig: Rig
    said: str
    own: bool
    cards: tuple[Card, ...] = ()


@dataclass
class Starting:
    """What runs are started with. `settings` is the file that remembers, None where nothing is.

    An emulated board is at the port `emulated`, and `rig` is its rig file.
    """

    supervisor: Supervisor = field(default_factory=Supervisor)
    settings: Path | None = None
    emulated: str = ""
    rig: Path | None = None


@dataclass(frozen=True)
class PageContext:
    """Folders of the runs and of the calibration cards, kinds of calibration that are offered, who was let in, what
    runs are started with, and whether one is being recorded.
    """

    runs: Path
    cards: Path
    kinds: tuple[Kind, ...] = KINDS
    guests: Guests | None = None  # None while the pages are for this computer alone
    starting: Starting = field(default_factory=Starting)
    live: Callable[[], bool] = lambda: False
    invite: Callable[[], tuple[str, str]] = lambda: ("", "")  # link and code that let the next guest in

    @cached_property
    def run_cache(self) -> RunCache:
        """The library of these runs, one for all pages."""
        return RunCache(self.runs)

    def settings(self) -> Settings:
        """What is remembered. Raises UserError for a settings file that cannot be read."""
        return Settings() if self.starting.settings is None else load_settings(self.starting.settings)

    def remember(self, **texts: str) -> None:
        """Keep settings, each as typed; nothing where nothing is remembered. Raises UserError."""
        if self.starting.settings is not None:
            settings = self.settings()
            for name, text in texts.items():
                settings = changed(settings, name, text)
            save_settings(settings, self.starting.settings)

    def rigs(self) -> list[KnownRig]:
        """The sprayers to choose from: the emulated one, the keeper's own, and the one of the settings."""
        found = known_rigs(self.runs)
        if self.starting.rig is not None:
            found = [_read_rig("emulated", self.starting.rig), *found]
        remembered = self.settings().rig
        if remembered and remembered not in {rig.name for rig in found}:
            with suppress(NotFoundError):  # it was deleted
                found.append(_read_rig(remembered, find_rig(remembered, self.runs)))
        return found

    def chosen_rig(self) -> KnownRig | None:
        """The sprayer in use, of those to choose from: as remembered, else the only one; None when there is none."""
        found = [rig for rig in self.rigs() if rig.rig is not None]
        remembered = "emulated" if self.starting.rig is not None else self.settings().rig
        chosen = next((rig for rig in found if rig.name == remembered), None)
        return chosen or (found[0] if len(found) == 1 else None)

    def rig(self) -> RigInUse:
        """The sprayer in use with its active calibration cards: that of the run being recorded; else the chosen one;
        else that of the newest run; else the example rig.

        Raises UserError when run, rig or a card cannot be read.
        """
        chosen = None if self.live() else self.chosen_rig()
        if chosen is not None and chosen.rig is not None:
            return self._with_cards(chosen.rig, f"{chosen.rig.name}, as set up")
        run = newest_run(self.runs)
        if run is None:
            rig = load_rig(EXAMPLE)
            return RigInUse(rig, f"No sprayer set up yet, so these are the numbers of the example {rig.name}.", False)
        rig = rig_of_run(run)
        return self._with_cards(rig, f"{rig.name}, as in run {run.stem}")

    def _with_cards(self, rig: Rig, said: str) -> RigInUse:
        cards = load_cards(self.cards, rig.name)
        with_cards = f" with {len(cards)} calibration card{'' if len(cards) == 1 else 's'}" if cards else ""
        system = shown_units(self.settings().units or rig.units)
        rig = replace(rig, units="metric" if system == "metric" else "us")
        return RigInUse(apply_cards(rig, cards), f"{said}{with_cards}.", True, tuple(cards))

    def rig_file(self, name: str) -> Path:
        """The rig file of one of `rigs`, or of the newest run for LAST_RUN, which is kept as a file of its own then.

        Raises UserError.
        """
        if name != LAST_RUN:
            found = next((rig for rig in self.rigs() if rig.name == name), None)
            if found is None:
                raise NotFoundError("that sprayer is not there any more: choose another")
            return found.path
        run = newest_run(self.runs)
        if run is None:
            raise NotFoundError("there is no run to take the sprayer from: set one up first")
        return add_rig(self.runs, rig_of_run(run)).path


def rig_of_run(run: Path) -> Rig:
    """The rig that a run was recorded with. Raises UserError when the run does not hold one."""
    reader = RunReader()
    with FileFollower(run) as source:
        for _ in range(_HEAD):
            for event in reader.push(source.poll()).events:
                if event.kind == "rig":
                    return rig_from_toml(str(event.detail.get("toml", "")), f"the rig in run {run.name}")
    raise DamagedFileError(f"run {run.name} holds no rig: start a new recording.")


def _read_rig(name: str, path: Path) -> KnownRig:
    try:
        return KnownRig(name, path, load_rig(path))
    except UserError as error:
        return KnownRig(name, path, None, str(error))
