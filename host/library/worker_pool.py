"""Run files worked out into entries: one after the other, or by several processes when there is much to read."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

from host.errors import UserError
from host.journal import RunFile
from host.library.entry import Entry
from host.library.later_notes import read_notes
from host.review.calibration_choice import Under
from host.review.digest import digest_of
from host.review.review import review_of

LARGEST_BYTES = 1 << 30  # over a week at ten frames a second; a longer file is named and left alone
_WORTH_BYTES = 20 << 20  # of files to read: less is read before other processes have started
_MOST_PROCESSES = 8

Reader = Callable[[Path], RunFile]
Item = TypeVar("Item")
Result = TypeVar("Result")


def worked_out(
    files: Sequence[tuple[Path, int]], read: Reader, under: Under, processes: int | None = None
) -> Iterator[Entry]:
    """An entry for each (path, size), in their order, by `processes` or as many as are worth it.

    With more than one, `read` is a function that another process can import.
    """
    return spread(partial(entry_of, read=read, under=under), files, processes, lambda file: file[1])


def spread(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    processes: int | None = None,
    size: Callable[[Item], int] = lambda item: item.size,  # type: ignore[attr-defined]
) -> Iterator[Result]:
    """`work` on each item, in their order, by `processes` or as many as are worth it for items of these sizes (bytes).

    With more than one, `work` is a function that another process can import.
    """
    if processes is None:
        much = sum(map(size, items)) >= _WORTH_BYTES
        processes = min(os.cpu_count() or 1, _MOST_PROCESSES) if much else 1
    done = 0
    if processes > 1 and len(items) > 1:
        # Fresh processes: a forked one would inherit the locks of whatever threads a server has.
        pool = ProcessPoolExecutor(processes, get_context("spawn"), _settle)
        # A process that was killed: what is left is worked out here.
        with pool, suppress(BrokenProcessPool):
            for result in pool.map(work, items):
                done += 1
                yield result
    yield from map(work, items[done:])


def _settle() -> None:
    """Recording goes before listing, and Ctrl-C is for the process that asked."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(10)


def entry_of(file: tuple[Path, int], read: Reader, under: Under) -> Entry:
    """The entry of one (path, size); what goes wrong is told in it."""
    path, size = file
    if size > LARGEST_BYTES:
        return Entry(path, size, None, f"{path.name} is {size / 1e9:.1f} GB, too large to list: review it by itself")
    try:
        later: dict[str, str] = {}
        problem = ""
        try:
            later = read_notes(path)
        except UserError as error:
            problem = str(error)
        run = read(path)
        rig, cards = under.read(run)
        digest = digest_of(review_of(run, rig, cards=cards, later_notes=later))
        return Entry(path, size, digest, problem or digest.remark)
    except UserError as error:
        return Entry(path, size, None, str(error))
    except MemoryError:
        return Entry(path, size, None, f"{path.name} needs more memory than there is: review it on another computer")
