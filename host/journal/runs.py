"""Whole run files."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from host.errors import DamagedFileError
from host.frames import FRAME_DTYPE, Event
from host.journal.reader import DAMAGE_KEPT, Batch, Damage, RunReader
from host.journal.records import MAX_RECORD, SCHEMA, TRAILER

BLOCK_BYTES = 1 << 22


@dataclass(slots=True)
class RunFile:
    """A run as read from its file.

    `frames` has FRAME_DTYPE, shape (n,); `before_frame` of each event counts over the whole run. `rig_toml` is
    the rig's own text, empty when both its writings are damaged. `damage` names the first 1000 damaged places,
    `damaged` counts all. `wire_damage` counts lines that were damaged on their way from the board. `trailer` is None
    when the recording did not end in good order; `lost_records` is how many records the trailer counts that could
    not be read, `extra_records` how many it does not count.
    """

    path: Path
    header: dict[str, Any] = field(default_factory=dict)
    rig_toml: str = ""
    calibrations: list[dict[str, Any]] = field(default_factory=list)
    notes: list[Event] = field(default_factory=list)
    frames: npt.NDArray[np.void] = field(default_factory=lambda: np.empty(0, dtype=FRAME_DTYPE))
    events: list[Event] = field(default_factory=list)
    damage: list[Damage] = field(default_factory=list)
    damaged: int = 0
    wire_damage: int = 0
    records: dict[str, int] = field(default_factory=dict)
    uninterpreted: int = 0  # reports of a board that speaks another major version of the protocol
    trailer: dict[str, Any] | None = None

    @property
    def started(self) -> datetime | None:
        """Wall-clock start, as the recorder's computer had it; None where the file does not say."""
        try:
            return datetime.fromisoformat(str(self.header.get("started", "")))
        except ValueError:
            return None

    @property
    def identity(self) -> str:
        """The recording, whatever its file is called and however much of it there is: by how it begins."""
        begin = (json.dumps(self.header, sort_keys=True), self.rig_toml, repr(self.frames[:1].tolist()))
        return hashlib.sha256("\n".join(begin).encode("utf-8", "replace")).hexdigest()[:20]

    @property
    def complete(self) -> bool:
        """Whether the recording ended in good order and everything in it could be read."""
        return self.trailer is not None and not (self.damaged or self.lost_records or self.extra_records)

    @property
    def lost_records(self) -> int:
        """Records that the trailer counts and that could not be read."""
        return sum(max(wanted - read, 0) for wanted, read in self._counted())

    @property
    def extra_records(self) -> int:
        """Records that were read and that the trailer does not count."""
        return sum(max(read - wanted, 0) for wanted, read in self._counted())

    def _counted(self) -> list[tuple[int, int]]:
        """Records by tag, as the trailer counts them and as they were read; the trailer does not count itself."""
        if self.trailer is None or not isinstance(counts := self.trailer.get("records"), dict):
            return []
        wanted = {tag: count for tag, count in counts.items() if isinstance(count, int)}
        tags = (wanted.keys() | self.records.keys()) - {TRAILER}
        return [(wanted.get(tag, 0), self.records.get(tag, 0)) for tag in tags]


def iter_batches(path: Path, block: int = BLOCK_BYTES) -> Iterator[Batch]:
    """The run file at `path` in pieces of `block` bytes.

    Raises UserError when the file cannot be opened or read.
    """
    reader = RunReader()
    try:
        with path.open("rb") as file:
            while data := file.read(block):
                yield reader.push(data)
    except OSError as error:
        raise DamagedFileError(f"run file {path} cannot be read: {_reason(error)}") from None
    yield reader.finish()


def read_run(path: Path) -> RunFile:
    """Read a whole run file.

    Raises UserError when it cannot be read, is empty, is no run file, or was written by a later version.
    """
    path = Path(path)
    run = RunFile(path)
    arrays: list[npt.NDArray[np.void]] = []
    frame_count = 0
    for number, batch in enumerate(iter_batches(path)):
        for event in batch.events:
            _take(run, event, frame_count)
        arrays.append(batch.frames)
        frame_count += len(batch.frames)
        run.damage += batch.damage[: DAMAGE_KEPT - len(run.damage)]
        run.damaged += batch.damaged
        run.wire_damage += batch.wire_damage
        run.uninterpreted += batch.uninterpreted
        for tag, count in batch.records.items():
            run.records[tag] = run.records.get(tag, 0) + count
        if not run.records and (number + 1) * BLOCK_BYTES > 2 * MAX_RECORD:
            break  # nothing in the first megabytes: no run file, however long it is
    if not run.records:
        raise DamagedFileError(_nothing_read(path))
    run.frames = np.concatenate(arrays) if len(arrays) > 1 else arrays[0]
    return run


def recorded_rig(path: Path) -> str:
    """The rig's text in a run file, read no further than to there; empty where it cannot be. Raises UserError."""
    for batch in iter_batches(path, 1 << 16):
        for event in batch.events:
            if event.kind == "rig":
                return str(event.detail.get("toml", ""))
    return ""


def check_schema(header: dict[str, Any], where: str) -> None:
    """Raise UserError when a header announces a format that this version cannot know."""
    schema = str(header.get("schema", SCHEMA))
    if schema.partition(".")[0] != SCHEMA.partition(".")[0]:
        raise DamagedFileError(
            f"{where} was written in run-file format {schema} and this Swardflow reads format {SCHEMA}: "
            "update Swardflow, or open it with the version that wrote it"
        )


def _take(run: RunFile, event: Event, frame_count: int) -> None:
    at = Event(event.host_s, event.before_frame + frame_count, event.kind, event.detail)
    run.events.append(at)
    match event.kind:
        case "header":
            check_schema(event.detail, f"run file {run.path}")
            run.header = run.header or event.detail
        case "rig":
            run.rig_toml = run.rig_toml or str(event.detail.get("toml", ""))
        case "calibration":
            run.calibrations.append(event.detail)
        case "note":
            run.notes.append(at)
        case "trailer":
            run.trailer = event.detail


def _nothing_read(path: Path) -> str:
    if path.stat().st_size == 0:
        return f"run file {path} is empty: the recording stopped before anything reached the disk; delete it"
    return f"{path} is no Swardflow run file, or nothing in it can be verified: choose another"


def _reason(error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such file; check the name"
    if isinstance(error, IsADirectoryError):
        return "it is a folder; give one file in it"
    if isinstance(error, PermissionError):
        return "you may not read it; check who owns it"
    return f"{error.strerror or error}; copy it to another disk and try again"
