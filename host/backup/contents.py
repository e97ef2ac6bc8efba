"""What belongs in a backup: where it lies here, and what it is called in there."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from host.errors import DamagedFileError, NotFoundError, reason_of
from host.run_folder import DEMO, NOTES_SUFFIX, SUFFIX, cards_folder

RUNS, CARDS, SETTINGS = "runs", "cards", "settings.toml"  # the names that every other one begins with, and the settings
_RUN_FILES = (SUFFIX, f"{SUFFIX}.rest", NOTES_SUFFIX)
_KEPT_FOLDERS = ("rigs", "mixes")  # in the folder of runs: all files of ours
_KEPT_FILES = ("last-start.toml",)
_TEXTS = (".toml", ".json", ".draft")
_DEEPEST = 6  # parts of a name
_LONGEST = 200  # bytes of a part


@dataclass(frozen=True)
class Places:
    """Folders of the runs and of the calibration cards, and the settings file; None where nothing is remembered."""

    runs: Path
    cards: Path
    settings: Path | None = None

    @classmethod
    def of(cls, runs: Path, settings: Path | None) -> Places:
        """Those of a folder of runs."""
        runs = runs.expanduser()
        return cls(runs, cards_folder(runs), settings)

    def root(self, name: str) -> Path | None:
        """The folder in which a file of this name of a backup lies here; None for settings that are not kept."""
        first = name.split("/", 1)[0]
        if first == SETTINGS:
            return self.settings.parent if self.settings else None
        return self.runs if first == RUNS else self.cards

    def path(self, name: str) -> Path | None:
        """Where it lies here."""
        root = self.root(name)
        if name == SETTINGS:
            return self.settings
        return root / name.split("/", 1)[1] if root else None


@dataclass(frozen=True)
class Found:
    """One file to keep, under its name in the backup."""

    name: str
    path: Path


def belongs(name: str) -> bool:
    """Whether a backup may hold a file of that name: no way out of its folders, nothing hidden, only what is ours."""
    parts = name.split("/")
    if name == SETTINGS:
        return True
    if len(parts) < 2 or len(parts) > _DEEPEST or not all(map(_plain, parts)):
        return False
    if parts[0] == CARDS:
        return name.endswith(_TEXTS)
    if parts[0] != RUNS:
        return False
    inner = parts[1:]
    if inner[0] in _KEPT_FOLDERS:
        return len(inner) > 1 and name.endswith(_TEXTS)
    return inner[0] != DEMO and (name.endswith(_RUN_FILES) or (len(inner) == 1 and inner[0] in _KEPT_FILES))


def find_files(places: Places) -> tuple[list[Found], list[str]]:
    """What there is to keep, by name, and a message for each thing of ours that cannot be kept.

    Raises UserError when the folder of runs is not there or a folder cannot be listed.
    """
    if not places.runs.is_dir():
        raise NotFoundError(f"there is no folder {places.runs}: name the folder of your runs")
    found: list[Found] = []
    left_out: list[str] = []
    for first, root, passed_over in ((RUNS, places.runs, cards_folder(places.runs)), (CARDS, places.cards, None)):
        for path in _walk(root, passed_over):
            within = path.relative_to(root)
            if path.is_symlink():
                if path.is_dir() or path.name.endswith(_RUN_FILES):
                    left_out.append(f"{within} is a link and not in the backup: put what it leads to in its place.")
            elif belongs(name := f"{first}/{within.as_posix()}"):
                found.append(Found(name, path))
            elif path.name.endswith(_RUN_FILES) and within.parts[0] != DEMO:
                left_out.append(f"{within} is not in the backup: give it a plainer or shorter name.")
    if places.settings and places.settings.is_file():
        found.append(Found(SETTINGS, places.settings))
    return sorted(found, key=lambda file: file.name), left_out


def _walk(root: Path, passed_over: Path | None) -> Iterator[Path]:
    """Files and links below a folder; hidden ones are passed over, links are not followed."""
    if not root.is_dir():
        return
    pending = [(root, 1)]
    while pending:
        here, depth = pending.pop()
        try:
            with os.scandir(here) as listing:
                items = sorted(listing, key=lambda item: item.name)
        except OSError as error:
            reason = reason_of(error)
            raise DamagedFileError(f"the folder {here} cannot be listed ({reason}): check its rights") from None
        for item in items:
            if item.name.startswith("."):
                continue
            if item.is_dir(follow_symlinks=False):
                path = Path(item.path)
                if depth < _DEEPEST - 1 and path != passed_over:
                    pending.append((path, depth + 1))
            elif item.is_symlink() or stat.S_ISREG(item.stat(follow_symlinks=False).st_mode):
                yield Path(item.path)


def _plain(part: str) -> bool:
    """A part of a name that every file system takes and that leads nowhere else."""
    return (
        part.isprintable()
        and not part.startswith(".")
        and not part.endswith((".", " "))
        and not set(part) & set('\\/:*?"<>|')
        and 0 < len(part.encode("utf-8", "surrogatepass")) <= _LONGEST
    )
