"""Bytes of a run file in, frames and events out, however the bytes are cut up.

Pure: no file is touched here. Nothing in the bytes makes the reader raise; what cannot be verified is reported as
damage and passed over.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import asdict, dataclass, field
from operator import attrgetter
from typing import Any

import numpy as np
import numpy.typing as npt

from firmware_protocol.messages import Identity, LineError, Report, decode
from firmware_protocol.vectorized import REPORT_DTYPE
from host.frames import FRAME_DTYPE, Event
from host.journal import records
from host.journal.records import Record, RecordError
from host.journal.vectorized import BULK_LINES, ROW, read_rows

_ONCE = {records.HEADER: "header", records.RIG: "rig", records.CALIBRATION: "calibration"}
_VALUES = attrgetter(*(REPORT_DTYPE.names or ()))  # of a Report, in the order of the columns
_LINE_FEED = ord("\n")
_TOO_LONG = "too long for a record"


@dataclass(frozen=True, slots=True)
class Damage:
    """A place in the file that could not be verified: line from 1, offset of its first byte, why."""

    line_number: int
    byte_offset: int
    reason: str


@dataclass(slots=True)
class Batch:
    """What one piece of a run file held.

    `frames` has FRAME_DTYPE, shape (n,); `wire_damage` counts raw lines that failed the wire's own checksum and so
    hold no data; `records` counts the sound records by tag.
    """

    frames: npt.NDArray[np.void]
    events: list[Event] = field(default_factory=list)
    damage: list[Damage] = field(default_factory=list)
    wire_damage: int = 0
    records: dict[str, int] = field(default_factory=dict)


class RunReader:
    """Reads a run file piece by piece; any way of cutting the bytes gives the same concatenation."""

    def __init__(self) -> None:
        self._pending = bytearray()
        self._skipping = False  # inside a line that is too long to be a record
        self._line_number = 1
        self._offset = 0
        self._last_once: dict[str, bytes] = {}

    def push(self, data: bytes) -> Batch:
        """What `data` completes."""
        gathering = _Gathering(self._last_once)
        cut = data.rfind(b"\n") + 1
        if cut:
            self._lines(bytes(self._pending) + data[:cut], gathering)
            self._pending = bytearray(data[cut:])
        else:
            self._pending += data
        if len(self._pending) > records.MAX_RECORD:
            self._pass_over(gathering)
        return gathering.batch()

    def finish(self) -> Batch:
        """What is left when the file ends: a last record without its line feed, or a torn one."""
        gathering = _Gathering(self._last_once)
        if self._pending and not self._skipping:
            reason = gathering.take(bytes(self._pending))
            if reason:
                gathering.damage.append(Damage(self._line_number, self._offset, f"{reason}; the file ends here"))
        self._offset += len(self._pending)
        self._pending.clear()
        return gathering.batch()

    def _pass_over(self, gathering: _Gathering) -> None:
        """Let go of an unfinished line that is already too long, so that a foreign file cannot fill the memory."""
        if not self._skipping:
            gathering.damage.append(Damage(self._line_number, self._offset, _TOO_LONG))
        self._skipping = True
        self._offset += len(self._pending)
        self._pending.clear()

    def _lines(self, block: bytes, gathering: _Gathering) -> None:
        """Read `block`, which ends with a line feed."""
        if self._skipping:
            length = block.index(b"\n") + 1
            self._skipping = False
            self._line_number += 1
            self._offset += length
            block = block[length:]
        table = np.frombuffer(block, dtype=np.uint8)
        ends = np.flatnonzero(table == _LINE_FEED)
        if not len(ends):
            return
        starts = np.concatenate(([0], ends[:-1] + 1))
        tabular = (ends - starts == ROW - 1) & (table[starts] == ord(records.RAW))
        borders = np.flatnonzero(np.diff(tabular)) + 1
        for first, last in zip([0, *borders.tolist()], [*borders.tolist(), len(ends)], strict=True):
            if tabular[first] and last - first >= BULK_LINES:
                self._table(table[starts[first] : ends[last - 1] + 1].reshape(-1, ROW), gathering)
            else:
                for start, end in zip(starts[first:last].tolist(), ends[first:last].tolist(), strict=True):
                    self._line(block[start:end], gathering)

    def _table(self, rows: npt.NDArray[np.uint8], gathering: _Gathering) -> None:
        """Read many records of the length of a report's together; the odd one out is read alone."""
        host_s, reports, sound = read_rows(rows)
        frames = np.empty(len(rows), dtype=FRAME_DTYPE)
        frames["host_s"] = host_s
        for name in REPORT_DTYPE.names or ():
            frames[name] = reports[name]
        first = 0
        for odd in [*np.flatnonzero(~sound).tolist(), len(rows)]:
            gathering.frames(frames[first:odd])
            self._line_number += odd - first
            self._offset += (odd - first) * ROW
            if odd < len(rows):
                self._line(rows[odd, :-1].tobytes(), gathering)
            first = odd + 1

    def _line(self, line: bytes, gathering: _Gathering) -> None:
        reason = gathering.take(line) if len(line) <= records.MAX_RECORD else _TOO_LONG
        if reason:
            gathering.damage.append(Damage(self._line_number, self._offset, reason))
        self._line_number += 1
        self._offset += len(line) + 1


class _Gathering:
    """A batch in the making."""

    def __init__(self, last_once: dict[str, bytes]) -> None:
        self.damage: list[Damage] = []
        self._last_once = last_once
        self._arrays: list[npt.NDArray[np.void]] = []
        self._rows: list[tuple[Any, ...]] = []
        self._count = 0
        self._events: list[Event] = []
        self._wire_damage = 0
        self._records: dict[str, int] = {}

    def frames(self, frames: npt.NDArray[np.void]) -> None:
        self._close_rows()
        self._arrays.append(frames)
        self._count += len(frames)
        self._add(records.RAW, len(frames))

    def take(self, line: bytes) -> str:
        """Take the record in `line`, or what remains of records in it; returns what is wrong, empty for nothing."""
        try:
            self._record(records.parse(line))
        except RecordError as error:
            for record in records.salvage(line):
                with suppress(RecordError):
                    self._record(record)
            return str(error)
        return ""

    def _record(self, record: Record) -> None:
        """Take one sound record.

        Raises RecordError when its payload is not what its tag promises.
        """
        if record.tag == records.RAW:
            self._raw(record)
        else:
            event = self._event(record)
            if event:
                self._events.append(event)
        self._add(record.tag, 1)

    def batch(self) -> Batch:
        self._close_rows()
        frames = np.concatenate(self._arrays) if self._arrays else np.empty(0, dtype=FRAME_DTYPE)
        return Batch(frames, self._events, self.damage, self._wire_damage, self._records)

    def _raw(self, record: Record) -> None:
        line = records.raw_line(record.payload)
        try:
            message = decode(line)
        except LineError:
            self._wire_damage += 1
            return
        if isinstance(message, Report):
            self._rows.append((record.host_s, *_VALUES(message)))
            self._count += 1
        elif isinstance(message, Identity):
            self._events.append(Event(record.host_s, self._count, "identity", asdict(message)))

    def _event(self, record: Record) -> Event | None:
        """What a record that is not a raw line tells; None for the second writing of the same, or an unknown tag."""
        if record.tag in _ONCE:
            detail = records.content(record.payload)
            if self._last_once.get(record.tag) == record.payload:
                return None
            self._last_once[record.tag] = record.payload
            return Event(record.host_s, self._count, _ONCE[record.tag], detail)
        if record.tag == records.NOTE:
            return Event(record.host_s, self._count, "note", records.content(record.payload))
        if record.tag == records.TRAILER:
            return Event(record.host_s, self._count, "trailer", records.content(record.payload))
        if record.tag == records.EVENT:
            detail = records.content(record.payload)
            kind = detail.pop("kind", None)
            if not isinstance(kind, str):
                raise RecordError("event without a kind")
            return Event(record.host_s, self._count, kind, detail)
        return None

    def _close_rows(self) -> None:
        if self._rows:
            self._arrays.append(np.array(self._rows, dtype=FRAME_DTYPE))
            self._rows = []

    def _add(self, tag: str, count: int) -> None:
        if count:
            self._records[tag] = self._records.get(tag, 0) + count
