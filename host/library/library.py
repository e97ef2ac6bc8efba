"""The runs of a folder: listed from the index, read only when a file has changed."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from host.errors import UserError
from host.journal import RunFile, read_run
from host.library.index import Index, Kept
from host.library.later_notes import notes_path, read_notes
from host.review.digest import DIGEST_FORMAT, Digest, digest_from_json, digest_of, digest_to_json
from host.review.review import Review, review_of, rig_of
from host.rig import Rig

SUFFIX = ".sward"
LARGEST_BYTES = 1 << 30  # over a week at ten frames a second; a longer file is named and left alone
_KEEP_EVERY = 50  # files worked out between two writes of the index

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Entry:
    """One file of the library: its digest, or a sentence saying why there is none."""

    path: Path
    size: int
    digest: Digest | None
    problem: str = ""


@dataclass(frozen=True)
class Wanted:
    """A filter. Texts match anywhere, in any case; days are ISO 8601 and inclusive; empty is everything."""

    site: str = ""
    product: str = ""
    rig: str = ""
    text: str = ""  # in the file's name or in any note
    first_day: str = ""
    last_day: str = ""

    def takes(self, entry: Entry) -> bool:
        """Whether the entry is wanted. A file without a digest is wanted only when nothing but its name is asked."""
        digest = entry.digest
        if digest is None:
            return not (self.site or self.product or self.rig or self.first_day or self.last_day) and (
                self.text.lower() in entry.path.name.lower()
            )
        everything = " ".join([entry.path.name, *digest.notes.keys(), *digest.notes.values()])
        return (
            self.site.lower() in digest.site.lower()
            and self.product.lower() in digest.product.lower()
            and self.rig.lower() in digest.rig.lower()
            and self.text.lower() in everything.lower()
            and (not self.first_day or digest.date >= self.first_day)
            and (not self.last_day or (digest.date != "" and digest.date <= self.last_day))
        )


class Library:
    """The run files (*.sward) directly in a folder.

    `rig_for` gives the rig that a run is read under, `calibration` names that way of reading in the index; without
    them a run is read under what was recorded in it. `read` reads a file.
    """

    def __init__(
        self,
        folder: Path,
        *,
        read: Callable[[Path], RunFile] = read_run,
        rig_for: Callable[[RunFile], Rig] = rig_of,
        calibration: str = "",
    ) -> None:
        self.folder = folder.expanduser()
        self._read, self._rig_for, self._calibration = read, rig_for, calibration

    def entries(self, progress: Progress | None = None) -> list[Entry]:
        """All files, oldest run first, those without a date last. Files that have changed are read again.

        Raises UserError when the folder cannot be read.
        """
        found = self._files()
        with closing(Index(self.folder, self._calibration)) as index:
            kept = index.all()
            fresh: dict[str, Kept] = {}
            entries: list[Entry] = []
            stale = [path for path, stamp, _ in found if path.name not in kept or kept[path.name].stamp != stamp]
            for path, stamp, size in found:
                entry = self._known(path, size, kept.get(path.name), stamp)
                if entry is None:
                    entry = self._worked_out(path, size)
                    fresh[path.name] = Kept(stamp, _body(entry))
                    if len(fresh) % _KEEP_EVERY == 0:
                        index.keep(fresh, [])
                    if progress:
                        progress(len(fresh), len(stale))
                entries.append(entry)
            gone = sorted(set(kept) - {path.name for path, _, _ in found})
            if fresh or gone:
                index.keep(fresh, gone)
        return sorted(entries, key=_by_date)

    def wanted(self, wanted: Wanted, progress: Progress | None = None) -> list[Entry]:
        """The entries that a filter takes."""
        return [entry for entry in self.entries(progress) if wanted.takes(entry)]

    def review(self, path: Path) -> Review:
        """One run in full, read as this library reads them, with the notes beside it.

        Raises UserError when it cannot be read.
        """
        run = self._read(path)
        return review_of(run, self._rig_for(run), later_notes=read_notes(path))

    def _files(self) -> list[tuple[Path, str, int]]:
        notes: dict[str, str] = {}
        runs = []
        try:
            with os.scandir(self.folder) as listing:
                for item in listing:
                    if item.name.endswith(SUFFIX) and item.is_file():
                        runs.append((Path(item.path), item.stat()))
                    elif item.name.endswith(".notes.toml"):
                        stat = item.stat()
                        notes[item.name] = f"{stat.st_size} {stat.st_mtime_ns}"
        except OSError as error:
            reason = (error.strerror or "unknown reason").lower()
            raise UserError(f"the folder {self.folder} cannot be listed ({reason}): give another with --runs") from None
        return [
            (
                path,
                f"{DIGEST_FORMAT} {stat.st_size} {stat.st_mtime_ns} {notes.get(notes_path(path).name, '')}",
                stat.st_size,
            )
            for path, stat in runs
        ]

    def _known(self, path: Path, size: int, kept: Kept | None, stamp: str) -> Entry | None:
        if kept is None or kept.stamp != stamp:
            return None
        try:
            digest = kept.body["digest"]
            return Entry(path, size, digest and digest_from_json(digest), str(kept.body["problem"]))
        except (KeyError, TypeError):
            return None

    def _worked_out(self, path: Path, size: int) -> Entry:
        if size > LARGEST_BYTES:
            return Entry(
                path, size, None, f"{path.name} is {size / 1e9:.1f} GB, too large to list: review it by itself"
            )
        try:
            later: dict[str, str] = {}
            problem = ""
            try:
                later = read_notes(path)
            except UserError as error:
                problem = str(error)
            run = self._read(path)
            digest = digest_of(review_of(run, self._rig_for(run), later_notes=later))
            return Entry(path, size, digest, problem or digest.remark)
        except UserError as error:
            return Entry(path, size, None, str(error))
        except MemoryError:
            return Entry(
                path, size, None, f"{path.name} needs more memory than there is: review it on another computer"
            )


def _body(entry: Entry) -> dict[str, object]:
    return {"digest": entry.digest and digest_to_json(entry.digest), "problem": entry.problem}


def _by_date(entry: Entry) -> tuple[bool, str, str]:
    started = entry.digest.started if entry.digest else ""
    return (not started, started, entry.path.name)


def problems(entries: Iterable[Entry]) -> list[str]:
    """The sentences of those that could not be read in full."""
    return [entry.problem for entry in entries if entry.problem]
