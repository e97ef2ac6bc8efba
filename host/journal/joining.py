"""Puts the end of a run that a full disk did not take behind its file, safely: twice does no harm."""

from __future__ import annotations

import os
from enum import Enum
from pathlib import Path

from host.errors import BadInputError, DamagedFileError, NotSavedError, reason_of
from host.journal.order import OUT_OF_PLACE
from host.journal.reader import RunReader
from host.journal.records import TRAILER

_SHORT = 32  # bytes; a longer piece of a rest is looked for by its beginning


class Joined(Enum):
    """What was done."""

    NOW = "joined"
    BEFORE = "was joined already"


def join_rest(run: Path, rest: Path) -> Joined:
    """Append the bytes of `rest` to the run file, once. A join that was broken off half way is finished.

    Nothing is written unless the run and its rest together are a whole run that ends with its trailer. Raises
    DamagedFileError when a file cannot be read, BadInputError when the two do not belong together, NotSavedError when
    the disk does not take the rest.
    """
    have, more = _bytes(run), _bytes(rest)
    if not more:
        raise BadInputError(f"{rest} is empty: there is nothing to join; give the .rest file of this run")
    if have.endswith(more) and _fits(have):
        return Joined.BEFORE
    missing = next((len(more) - kept for kept in _overlaps(have, more) if _fits(have + more[kept:])), 0)
    if not missing:
        raise BadInputError(
            f"{rest} does not continue {run}: the two together are no whole run, so nothing was changed; give the "
            ".rest file that was saved for this run"
        )
    try:
        with run.open("ab") as file:
            file.write(more[-missing:])
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise NotSavedError(f"{run} takes no more ({reason_of(error)}): make room, then join again") from None
    return Joined.NOW


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise DamagedFileError(f"{path} cannot be read: {reason_of(error)}") from None


def _overlaps(have: bytes, more: bytes) -> list[int]:
    """How many bytes of `more` may stand at the end of `have` already: what a broken join left, or none."""
    longest = min(len(have), len(more))
    sizes = [size for size in range(1, min(_SHORT, longest + 1)) if have.endswith(more[:size])]
    tail, begins = have[-longest:], more[:_SHORT]
    place = tail.find(begins) if longest >= _SHORT else -1
    while place >= 0:
        if tail[place:] == more[: longest - place]:
            sizes.append(longest - place)
        place = tail.find(begins, place + 1)
    return [*sorted(sizes, reverse=True), 0]


def _fits(data: bytes) -> bool:
    """Whether the bytes are a run that ends with its trailer, and hold the records that the trailer counts."""
    reader = RunReader()
    batches = [reader.push(data), reader.finish()]
    ends_well = data.rsplit(b"\n", 2)[-2][:1] == TRAILER.encode() if data.endswith(b"\n") else False
    if any(damage.reason in OUT_OF_PLACE for batch in batches for damage in batch.damage):
        return False
    counted = next((event.detail for batch in batches for event in batch.events if event.kind == "trailer"), None)
    if not ends_well or counted is None:
        return False
    wanted = counted.get("records")
    read: dict[str, int] = {}
    for batch in batches:
        for tag, count in batch.records.items():
            read[tag] = read.get(tag, 0) + count
    read.pop(TRAILER, None)
    return isinstance(wanted, dict) and {tag: read.get(tag, 0) for tag in wanted} == wanted
