"""The run files of a folder and of the folders in it, such as one for each year or site."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path

from host.errors import UserError
from host.library.later_notes import SUFFIX as NOTES_SUFFIX
from host.library.later_notes import notes_path

SUFFIX = ".sward"
DEEPEST = 4  # folders below the one that is named: nobody's whole disk is searched
_NOT_OURS = ("demo",)  # directly in a runs folder: runs of 'swardflow demo', which belong to no season


@dataclass(frozen=True)
class Found:
    """A run file: `name` is its path within the folder, `stamp` changes when it or the notes beside it do."""

    path: Path
    name: str
    size: int
    stamp: str


def files_of(folder: Path) -> tuple[list[Found], list[tuple[Path, str]]]:
    """The run files, and what could not be looked into, each with a sentence.

    Links to folders are followed, each folder once. Raises UserError when `folder` itself cannot be listed.
    """
    found: list[Found] = []
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
            reason = (error.strerror or "unknown reason").lower()
            if here == folder:
                raise UserError(f"the folder {folder} cannot be listed ({reason}): give another with --runs") from None
            unread.append((here, f"the folder {here} cannot be listed ({reason}): check its rights or move it away"))
            continue
        found += runs
        if depth < DEEPEST:
            pending += [(path, depth + 1) for path in deeper if depth or path.name not in _NOT_OURS]
    return found, unread


def _listed(here: Path, folder: Path) -> tuple[list[Found], list[Path]]:
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
        Found(
            path,
            (within / path.name).as_posix(),
            status.st_size,
            f"{status.st_mtime_ns} {notes.get(notes_path(path).name, '')}",
        )
        for path, status in runs
    ], deeper
