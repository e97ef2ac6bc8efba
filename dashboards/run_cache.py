"""The library as the pages see it: listed at once, read in the background, opened by name and by nothing else."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dashboards.web import progress
from host.errors import NotFoundError, NotNowError, TooLargeError, UserError
from host.journal import RunFile, read_run
from host.journal.writer import RESCUED
from host.library import Entry, Library
from host.library.worker_pool import LARGEST_BYTES
from host.recorder import ask, is_recording
from host.review.review import Review
from host.run_folder import RunPath, list_runs, notes_path, run_name

_KEPT = 3  # reviews: the one that is looked at, and two that are compared
_FRESH_S = 5.0  # a run being recorded changes all the time: it is not read again for every look


@dataclass(frozen=True)
class Look:
    """What the folder holds: entries oldest run first, files not yet read, and how far the reading is."""

    entries: list[Entry]
    unread: list[Path]
    done: int = 0
    whole: int = 0


class RunCache:
    """The runs of one folder. All methods read files and may take seconds: not for the event loop.

    `read` reads a file; `ask_recorder` puts a request to the recorder of a run and raises UserError when there is none.
    """

    def __init__(
        self,
        folder: Path,
        *,
        read: Callable[[Path], RunFile] = read_run,
        ask_recorder: Callable[[Path, dict[str, Any]], dict[str, Any]] = ask,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.library = Library(folder, read=read)
        self._ask, self._clock = ask_recorder, clock
        self._lock = threading.Lock()
        self._reviewing = threading.Lock()
        self._reading: _Reading | None = None
        self._reviews: OrderedDict[tuple[str, int, str], Review] = OrderedDict()

    @property
    def folder(self) -> Path:
        """Where the runs are."""
        return self.library.folder

    def look(self, patience_s: float) -> Look:
        """The listing now. Files that are new or changed are read by a thread; after `patience_s` it is not waited for.

        Raises UserError when the folder cannot be read.
        """
        entries, unread = self.library.known()
        if not unread:
            return Look(entries, [])
        with self._lock:
            reading = self._reading
            if reading is None or (reading.ended.is_set() and self._clock() - reading.ended_at > _FRESH_S):
                reading = self._reading = _Reading(self.library, self._clock)
        if reading.ended.wait(patience_s):
            if reading.trouble is not None:
                raise type(reading.trouble)(str(reading.trouble))
            return Look(reading.entries, [])
        entries, unread = self.library.known()
        return Look(entries, unread, reading.done, reading.whole or len(unread))

    def name_of(self, path: Path) -> str:
        """What a run is called in addresses: its path within the folder, without the ending."""
        return run_name(path, self.folder)

    def path_of(self, name: str) -> Path:
        """The run file of that name. Only names that the folder's listing gives are taken; nothing is put together.

        Raises UserError when there is none, or it (or the notes beside it) is a link that leads out of the folder.
        """
        return self._found(name).path

    def is_recording(self, entry: Entry) -> bool:
        """Whether a recorder answers for the run."""
        if entry.digest is None or entry.digest.complete:
            return False
        return is_recording(entry.path, self._ask)

    def review(self, name: str) -> Review:
        """The run of that name in full; kept until the file or its notes change.

        Raises UserError when there is none or it cannot be read.
        """
        found = self._found(name)
        if found.size > LARGEST_BYTES:
            size = f"{found.size / 1e9:.1f} GB"
            raise TooLargeError(f"{found.path.name} is {size}, too large for a page: review it on the computer itself")
        key = (found.relative, found.size, found.stamp)
        progress.tell(progress.WAITING)
        with self._reviewing:  # one after the other: two at once would only take turns
            progress.tell_part(0, 1)
            if key in self._reviews:
                self._reviews.move_to_end(key)
                return self._reviews[key]
            try:
                review = self.library.review(found.path, progress.tell_part)
            except MemoryError:
                raise TooLargeError(
                    f"{found.path.name} needs more memory than there is: review it on another computer"
                ) from None
            self._reviews[key] = review
            while len(self._reviews) > _KEPT:
                self._reviews.popitem(last=False)
            return review

    def _found(self, name: str) -> RunPath:
        runs = list_runs(self.folder)[0]
        found = next((run for run in runs if run.name == name), None) or _saved_again(name, runs)
        if found is None:
            raise NotFoundError(f'there is no run "{name[:100]}" in the runs folder: choose one from the page Runs')
        home = self.folder.resolve()
        if not all(path.resolve().is_relative_to(home) for path in (found.path, notes_path(found.path))):
            raise NotFoundError(
                f"{found.relative} is a link out of the runs folder, and pages open nothing outside it: copy the "
                "run into the folder"
            )
        return found


def _saved_again(name: str, runs: Sequence[RunPath]) -> RunPath | None:
    """The newest file that the recorder saved the run `name` in, after its own was lost."""
    begins = name.partition(RESCUED)[0] + RESCUED
    found = [run for run in runs if run.name == begins or run.name.startswith(f"{begins}-")]
    return max(found, key=lambda run: run.modified_ns, default=None)


class _Reading:
    """One reading of the library in a thread of its own."""

    def __init__(self, library: Library, clock: Callable[[], float]) -> None:
        self.entries: list[Entry] = []
        self.trouble: UserError | None = None
        self.done = self.whole = 0
        self.ended = threading.Event()
        self.ended_at = 0.0
        self._library, self._clock = library, clock
        threading.Thread(target=self._run, name="reading runs", daemon=True).start()

    def _run(self) -> None:
        try:
            self.entries = self._library.entries(self._progress)
        except UserError as error:
            self.trouble = error
        except BaseException:
            self.trouble = NotNowError("the runs could not be read, by a mistake of ours: start Swardflow again")
            raise
        finally:
            self.ended_at = self._clock()
            self.ended.set()

    def _progress(self, done: int, whole: int) -> None:
        self.done, self.whole = done, whole
