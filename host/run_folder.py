"""The folder of runs: what its files are called, and the one walk that finds them.

Runs may lie in folders of the folder, such as one for each year or site.
"""

from __future__ import annotations

import os
import re
import stat
import time
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from host.errors import BadInputError, NotFoundError, NotSavedError, reason_of

DEFAULT_FOLDER = Path("~/swardflow-runs")
SUFFIX = ".sward"
NOTES_SUFFIX = ".notes.toml"
DEMO = "demo"  # directly in a folder of runs: runs of 'swardflow demo', which belong to no season
LATEST = "latest"
EXAMPLE = "example"  # the run that comes along
_EXAMPLES = Path(__file__).parents[1] / "recordings"  # in a clone and in an installed package alike
_DEEPEST = 4  # folders below the one that is named: nobody's whole disk is searched
QUIET_S = 3.0  # a run from which nothing has come for so long may be left for a newer one
_NOT_YET_S = 2.0  # a file's time may run ahead of the clock by its own coarseness
_NAME_LENGTH = 40


@dataclass(frozen=True)
class RunPath:
    """A run file: `relative` is its path within the folder; `stamp` changes when it or the notes beside it do.

    `modified_ns` is in nanoseconds since 1970.
    """

    path: Path
    relative: str
    size: int
    modified_ns: int
    stamp: str

    @property
    def name(self) -> str:
        """What people call the run: its path within the folder, without the ending."""
        return self.relative.removesuffix(SUFFIX)


def cards_folder(runs: Path = DEFAULT_FOLDER) -> Path:
    """The folder of calibration cards that belongs to a folder of runs."""
    return runs / "cards"


def rigs_folder(runs: Path = DEFAULT_FOLDER) -> Path:
    """The folder of rig files that belongs to a folder of runs."""
    return runs / "rigs"


def notes_path(run: Path) -> Path:
    """The file with notes that were added to a run afterwards."""
    return run.with_name(run.stem + NOTES_SUFFIX)


def run_name(path: Path, folder: Path) -> str:
    """What people call a run: its path within the folder (any path, if it is not in there), without the ending."""
    folder = folder.expanduser()
    return (path.relative_to(folder) if path.is_relative_to(folder) else path).with_suffix("").as_posix()


def file_names(started: datetime, name: str) -> list[str]:
    """File names for a run that started then, the preferred one first: 2026-05-14T0915-harrow-lea.sward."""
    stem = f"{started:%Y-%m-%dT%H%M}-{file_slug(name)}"
    return [name + SUFFIX for name in numbered(stem)]


def numbered(stem: str, most: int = 99) -> list[str]:
    """Names for the first, second, … thing that would be called `stem`: lawn, lawn-2, lawn-3."""
    return [stem, *(f"{stem}-{number}" for number in range(2, most + 1))]


def file_slug(name: str) -> str:
    """A name as it may stand in a file's name: small letters, figures and hyphens."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_NAME_LENGTH].strip("-") or "run"


def make_folder(folder: Path) -> Path:
    """The folder for runs, made if it is not there.

    Raises UserError when it cannot be made.
    """
    folder = folder.expanduser()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NotSavedError(f"the folder for runs {folder} cannot be made: {error.strerror}; choose another") from None
    return folder


def list_runs(folder: Path) -> tuple[list[RunPath], list[tuple[Path, str]]]:
    """The run files in `folder` and in its folders, in no order, and what could not be looked into, with a message.

    Hidden folders are passed over. Links to folders are followed, each folder once. Raises UserError when `folder`
    itself cannot be listed.
    """
    folder = folder.expanduser()
    found: list[RunPath] = []
    unread: list[tuple[Path, str]] = []
    visited: set[tuple[int, int]] = set()
    pending = [(folder, 0)]
    while pending:
        here, depth = pending.pop()
        try:
            own = here.stat()
            if (own.st_dev, own.st_ino) in visited:
                continue
            visited.add((own.st_dev, own.st_ino))
            runs, deeper = _listed(here, folder)
        except OSError as error:
            reason = reason_of(error)
            if here == folder:
                raise NotFoundError(
                    f"the folder {folder} cannot be listed ({reason}): check its rights, or choose another"
                ) from None
            unread.append((here, f"the folder {here} cannot be listed ({reason}): check its rights or move it away"))
            continue
        found += runs
        if depth < _DEEPEST:
            pending += [(path, depth + 1) for path in deeper if depth or path.name != DEMO]
    return found, unread


def _listed(here: Path, folder: Path) -> tuple[list[RunPath], list[Path]]:
    """Run files and folders directly in `here`."""
    runs: list[tuple[Path, os.stat_result]] = []
    notes: dict[str, str] = {}
    deeper = []
    with os.scandir(here) as listing:
        for item in listing:
            try:
                status = item.stat()
            except OSError:  # a link to nowhere, or gone in this moment
                continue
            if stat.S_ISDIR(status.st_mode) and not item.name.startswith("."):
                deeper.append(Path(item.path))
            elif stat.S_ISREG(status.st_mode) and item.name.endswith(SUFFIX):
                runs.append((Path(item.path), status))
            elif item.name.endswith(NOTES_SUFFIX):
                notes[item.name] = f"{status.st_size} {status.st_mtime_ns}"
    within = here.relative_to(folder)
    return [
        RunPath(
            path,
            (within / path.name).as_posix(),
            status.st_size,
            status.st_mtime_ns,
            f"{status.st_mtime_ns} {notes.get(notes_path(path).name, '')}",
        )
        for path, status in runs
    ], deeper


def newest_run(folder: Path, wall: Callable[[], float] = time.time) -> Path | None:
    """The run in `folder` that was written to last; None when there is none.

    A run that was written to in the future was written before the clock was set back (`wall`: seconds since 1970), as
    on a computer without a clock of its own that has just heard the time: it comes after every other.
    Raises UserError when the folder is there and cannot be listed.
    """
    if not _exists(folder.expanduser()):
        return None
    now = (wall() + _NOT_YET_S) * 1e9
    runs = list_runs(folder)[0]
    newest = max(runs, key=lambda run: (run.modified_ns <= now, run.modified_ns, run.relative), default=None)
    return newest.path if newest else None


def find_run(text: str, folder: Path = DEFAULT_FOLDER) -> Path:
    """The run file meant by `text`: a path, "latest", "example", a name in the folder, or a bare one from deeper in it.

    Raises UserError when there is none, or more than one of that name in folders of the folder.
    """
    folder = folder.expanduser()
    if text == LATEST:
        run = newest_run(folder)
        if run is None:
            raise NotFoundError(f"there is no run in {folder}: record one, or choose another folder")
        return run
    for path in (_by_path(text), folder / text, folder / (text + SUFFIX)):
        if _exists(path) and path.is_file():
            return path
    name = text.removesuffix(SUFFIX) + SUFFIX
    deeper = sorted(run.relative for run in _runs_if_any(folder) if run.path.name == name)
    if not deeper and text == EXAMPLE and (found := sorted(_EXAMPLES.glob(f"*{SUFFIX}"))):
        return found[0]
    if not deeper:
        raise NotFoundError(
            f"there is no run {text}, neither as a path nor in {folder}: check the name, or say 'latest'"
        )
    if len(deeper) > 1:
        places = " and ".join(deeper[:2])
        raise BadInputError(
            f"{text} is the name of {len(deeper)} runs in {folder}, such as {places}: give the folder too"
        )
    return folder / deeper[0]


def beside(run: Path, suffix: str) -> Path:
    """The path of a file that is made of a run: beside it, and in the current folder for the one that comes along."""
    return Path(run.with_suffix(suffix).name) if run.parent == _EXAMPLES else run.with_suffix(suffix)


def _runs_if_any(folder: Path) -> list[RunPath]:
    return list_runs(folder)[0] if _exists(folder) else []


def _by_path(text: str) -> Path:
    try:
        return Path(text).expanduser()
    except RuntimeError:  # a "~name" of nobody
        return Path(text)


def _exists(path: Path) -> bool:
    """Whether it is there; False, too, for what can be no name: too long, or with a zero byte."""
    try:
        path.stat()
    except (OSError, ValueError):
        return False
    return True
