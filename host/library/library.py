"""The runs of a folder: listed from the index, read only when a file has changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from host.journal import read_run
from host.library.copies import best_copies
from host.library.entry import Entry
from host.library.index import Index, Kept
from host.library.later_notes import read_notes
from host.library.worker_pool import Reader, worked_out
from host.pipeline import Settled, Signals
from host.review.calibration_choice import RECORDED, Under
from host.review.digest import DIGEST_FORMAT, digest_from_json, digest_to_json
from host.review.review import Review, review_of
from host.run_folder import RunPath, list_runs

_KEEP_EVERY = 10  # files worked out between two writes of the index

Progress = Callable[[int, int], None]


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
    """The run files (*.sward) in a folder and in its folders, four deep at most; hidden ones are passed over.

    `under` says what runs are read under; the index keeps each way of reading apart. `read` reads a file;
    `processes` do so at once, by default as many as are worth it.
    """

    def __init__(
        self, folder: Path, *, read: Reader = read_run, under: Under = RECORDED, processes: int | None = None
    ) -> None:
        self.folder = folder.expanduser()
        self._read, self._under, self._processes = read, under, processes

    def entries(self, progress: Progress | None = None) -> list[Entry]:
        """All files, oldest run first, those without a date last. Files that have changed are read again.

        Raises UserError when the folder cannot be read.
        """
        found, unread = list_runs(self.folder)
        entries = [Entry(path, 0, None, problem) for path, problem in unread]
        with closing(Index(self.folder, self._under.key)) as index:
            kept = index.all()
            fresh: dict[str, Kept] = {}
            stale = []
            for file in found:
                entry = _known(file, kept.get(file.relative))
                if entry is None:
                    stale.append(file)
                else:
                    entries.append(entry)
            read = worked_out([(file.path, file.size) for file in stale], self._read, self._under, self._processes)
            for done, (file, entry) in enumerate(zip(stale, read, strict=True), start=1):
                entries.append(entry)
                fresh[file.relative] = Kept(_stamp(file), _body(entry))
                if done % _KEEP_EVERY == 0:
                    index.keep(fresh, [])
                    fresh.clear()
                if progress:
                    progress(done, len(stale))
            index.keep(fresh, sorted(set(kept) - {file.relative for file in found}))
        return _copies_named(sorted(entries, key=_by_date))

    def known(self) -> tuple[list[Entry], list[Path]]:
        """What can be listed without reading a file, in the order of `entries`, and the files that would be read.

        Raises UserError when the folder cannot be read.
        """
        found, unread = list_runs(self.folder)
        entries = [Entry(path, 0, None, problem) for path, problem in unread]
        with closing(Index(self.folder, self._under.key)) as index:
            kept = index.all()
        told = [(file, _known(file, kept.get(file.relative))) for file in found]
        entries += [entry for _, entry in told if entry is not None]
        return _copies_named(sorted(entries, key=_by_date)), [file.path for file, entry in told if entry is None]

    def wanted(self, wanted: Wanted, progress: Progress | None = None) -> list[Entry]:
        """The entries that a filter takes."""
        return [entry for entry in self.entries(progress) if wanted.takes(entry)]

    def review(self, path: Path, progress: Progress | None = None) -> Review:
        """One run in full, read as this library reads them, with the notes beside it.

        `progress(done, all)` is called with frames. Raises UserError when it cannot be read.
        """
        run = self._read(path)
        rig, cards = self._under.read(run)
        done = 0

        def each(part: Signals | Settled) -> None:
            nonlocal done
            if progress and isinstance(part, Signals):
                done += len(part)
                progress(done, len(run.frames))

        return review_of(run, rig, cards=cards, later_notes=read_notes(path), each=each)


def _stamp(file: RunPath) -> str:
    return f"{DIGEST_FORMAT} {file.size} {file.stamp}"


def _known(file: RunPath, kept: Kept | None) -> Entry | None:
    if kept is None or kept.stamp != _stamp(file):
        return None
    try:
        digest = kept.body["digest"]
        return Entry(file.path, file.size, digest and digest_from_json(digest), str(kept.body["problem"]))
    except (KeyError, TypeError):
        return None


def _copies_named(entries: list[Entry]) -> list[Entry]:
    """Of copies of a run, whatever they are called, the best one counts; the others are named and left out."""
    digested = [(entry, entry.digest) for entry in entries if entry.digest is not None]
    counted = best_copies(digested, lambda one: one[1].identity, lambda one: one[1].complete, lambda one: one[0].size)

    def named(entry: Entry) -> Entry:
        same = entry if entry.digest is None else counted[entry.digest.identity][0]
        problem = f"{entry.path} is a copy of {same.path}, which is listed: move one of them out of the folder"
        return entry if same is entry else Entry(entry.path, entry.size, None, problem)

    return [named(entry) for entry in entries]


def _body(entry: Entry) -> dict[str, object]:
    return {"digest": entry.digest and digest_to_json(entry.digest), "problem": entry.problem}


def _by_date(entry: Entry) -> tuple[bool, str, str]:
    started = entry.digest.started if entry.digest else ""
    return (not started, started, entry.path.name)


def problems(entries: Iterable[Entry]) -> list[str]:
    """The messages of those that could not be read in full, each with its file."""
    bad = [(entry.path.name, entry.problem) for entry in entries if entry.problem]
    return [problem if name in problem else f"{name}: {problem}" for name, problem in bad]
