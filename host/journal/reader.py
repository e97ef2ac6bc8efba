"""Bytes of a run file in, frames and events out, however the bytes are cut up.

Pure: no file is touched here. Nothing in the bytes makes the reader raise; what cannot be verified is reported as
damage and passed over.
"""

from __future__ import annotations

from bisect import bisect_left
from contextlib import suppress
from dataclasses import dataclass, field, fields
from itertools import pairwise
from operator import attrgetter
from typing import Any

import numpy as np
import numpy.typing as npt

from firmware_protocol.messages import Hardware, Identity, LineError, Report, State, decode
from firmware_protocol.vectorized import REPORT_DTYPE
from firmware_protocol.version import speaks_our_protocol
from host.frames import FRAME_DTYPE, Event, together
from host.journal import records
from host.journal.order import GAP_S, Order, Placed, Refused, Segment
from host.journal.records import Record, RecordError
from host.journal.vectorized import BULK_LINES, ROW, read_rows

_ONCE = {records.HEADER: "header", records.RIG: "rig", records.CALIBRATION: "calibration"}
_VALUES = attrgetter(*(REPORT_DTYPE.names or ()))  # of a Report, in the order of the columns
_ABOUT_BOARD: dict[type, str] = {Identity: "identity", Hardware: "hardware", State: "board_state"}
_FIELDS = {kind: [one.name for one in fields(kind)] for kind in (Identity, Hardware, State)}
_LINE_FEED = ord("\n")
DAMAGE_KEPT = 1000  # of a piece, or a file, that is damaged everywhere, so many places are named
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
    hold no data; `damaged` counts the places of `damage`, of which the first and one of each reason are named;
    `records` counts the sound records by tag; `uninterpreted` counts reports of a board
    that speaks another major version of the protocol: they are kept and not interpreted (PROTOCOL.md section 10).
    """

    frames: npt.NDArray[np.void]
    events: list[Event] = field(default_factory=list)
    damage: list[Damage] = field(default_factory=list)
    damaged: int = 0
    wire_damage: int = 0
    records: dict[str, int] = field(default_factory=dict)
    uninterpreted: int = 0


class RunReader:
    """Reads a run file piece by piece; any way of cutting the bytes gives the same concatenation."""

    def __init__(self) -> None:
        self._pending = bytearray()
        self._skipping = False  # inside a line that is too long to be a record
        self._line_number = 1
        self._offset = 0
        self._last_once: dict[str, bytes] = {}
        self._order = Order()
        self._segment = Segment()
        self._segment_damaged = False
        self.foreign = False  # the board speaks a protocol that cannot be interpreted

    def push(self, data: bytes) -> Batch:
        """What `data` completes."""
        gathering = _Gathering(self)
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
        gathering = _Gathering(self)
        if self._pending and not self._skipping:
            reason = gathering.take(bytes(self._pending))
            if reason:
                gathering.tell(self._line_number, self._offset, f"{reason}; the file ends here")
        self._offset += len(self._pending)
        self._pending.clear()
        for placed in self._order.finish():
            gathering.accept(placed.record)
        return gathering.batch()

    def _pass_over(self, gathering: _Gathering) -> None:
        """Let go of an unfinished line that is already too long, so that a foreign file cannot fill the memory."""
        if not self._skipping:
            gathering.tell(self._line_number, self._offset, _TOO_LONG)
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
        if np.count_nonzero(tabular) < BULK_LINES:
            tabular[:] = False
        borders = [0, *(np.flatnonzero(np.diff(tabular)) + 1).tolist(), len(ends)]
        stretches = list(pairwise(borders))
        tables = [table[starts[a] : ends[b - 1] + 1].reshape(-1, ROW) for a, b in stretches if tabular[a]]
        rows = _Rows(tables)
        place = 0
        for first, last in stretches:
            if tabular[first]:
                self._table(rows, place, place + last - first, gathering)
                place += last - first
            else:
                for start, end in zip(starts[first:last].tolist(), ends[first:last].tolist(), strict=True):
                    self._line(block[start:end], gathering)

    def _table(self, rows: _Rows, first: int, end: int, gathering: _Gathering) -> None:
        """Take records of the length of a report's together; the odd one out is read alone."""
        odd = rows.odd[bisect_left(rows.odd, first) : bisect_left(rows.odd, end)]
        for place in [*odd, end]:
            self._bulk(rows.rows, rows.frames, slice(first, place), gathering)
            if place < end:
                self._line(rows.rows[place, :-1].tobytes(), gathering)
            first = place + 1

    def _bulk(
        self, rows: npt.NDArray[np.uint8], frames: npt.NDArray[np.void], part: slice, gathering: _Gathering
    ) -> None:
        """Take rows that are sound and in order among each other; those at their beginning one by one where needed."""
        first, end = int(part.start), int(part.stop)
        while first < end:
            from_s = self._order.raw_from_s
            if from_s is not None and 0.0 <= float(frames["host_s"][first]) - from_s <= GAP_S:
                break
            self._line(rows[first, :-1].tobytes(), gathering)
            first += 1
        if first < end:
            block = rows[first:end].tobytes()
            if block[: ROW - 1] == self._order.last_raw:
                self._line(block[: ROW - 1], gathering)
                self._bulk(rows, frames, slice(first + 1, end), gathering)
                return
            gathering.frames(frames[first:end])
            self._segment.add(block, records.RAW, end - first)
            self._order.took_in_bulk(float(frames["host_s"][end - 1]), block[-ROW:-1])
            self._line_number += end - first
            self._offset += (end - first) * ROW

    def _line(self, line: bytes, gathering: _Gathering) -> None:
        reason = gathering.take(line) if len(line) <= records.MAX_RECORD else _TOO_LONG
        if reason:
            gathering.tell(self._line_number, self._offset, reason)
            self._segment_damaged = True
        self._line_number += 1
        self._offset += len(line) + 1

    def judge(self, record: Record, line: bytes) -> tuple[list[Placed], list[Refused]]:
        """What of the record in `line`, and of one that waited, may be taken; checkpoints are compared on the way."""
        here = Placed(record, line, self._line_number, self._offset)
        taken, refused = self._order.judge(here)
        if record.tag in (records.CHECKPOINT, records.TRAILER) and here in taken:
            differs = self._segment.differs(records.content(record.payload))
            if differs and not self._segment_damaged and not refused:
                refused = [*refused, Refused(here, differs)]
            self._segment.close()
            self._segment_damaged = False
        else:
            self._segment.add(line + b"\n", record.tag)
            self._segment_damaged = self._segment_damaged or bool(refused)
        return taken, refused

    @property
    def last_once(self) -> dict[str, bytes]:
        """The payload last read of each tag that is written twice."""
        return self._last_once


class _Rows:
    """Records of the length of a report's, read together: stretches of them, each with its line feeds, shape (n, 105).

    `odd` are the places of those that are no sound report or follow the one before in another way than reports do.
    """

    def __init__(self, stretches: list[npt.NDArray[np.uint8]]) -> None:
        self.rows = np.concatenate(stretches) if stretches else np.empty((0, ROW), dtype=np.uint8)
        host_s, reports, sound = read_rows(self.rows)
        self.frames = np.empty(len(self.rows), dtype=FRAME_DTYPE)
        self.frames["host_s"] = host_s
        for name in REPORT_DTYPE.names or ():
            self.frames[name] = reports[name]
        follows = np.ones(len(self.rows), dtype=np.bool_)
        follows[np.cumsum([0, *map(len, stretches[:-1])], dtype=np.intp)[: len(stretches)]] = False
        step = np.diff(host_s)
        repeated = np.flatnonzero((step == 0.0) & follows[1:])
        repeated = repeated[(self.rows[repeated] == self.rows[repeated + 1]).all(axis=1)]
        odd = ~sound
        odd[1:] |= follows[1:] & ~((step >= 0.0) & (step <= GAP_S))
        odd[repeated + 1] = True
        self.odd: list[int] = np.flatnonzero(odd).tolist()


class _Gathering:
    """A batch in the making."""

    def __init__(self, reader: RunReader) -> None:
        self._damage: list[Damage] = []
        self._damaged = 0
        self._reasons: set[str] = set()
        self._reader = reader
        self._last_once = reader.last_once
        self._arrays: list[npt.NDArray[np.void]] = []
        self._rows: list[tuple[Any, ...]] = []
        self._count = 0
        self._events: list[Event] = []
        self._wire_damage = self._uninterpreted = 0
        self._records: dict[str, int] = {}

    def tell(self, line_number: int, byte_offset: int, reason: str) -> None:
        """Name a damaged place; beyond so many only one that is damaged in a way of its own."""
        self._damaged += 1
        if len(self._damage) < DAMAGE_KEPT or reason not in self._reasons:
            self._damage.append(Damage(line_number, byte_offset, reason))
            self._reasons.add(reason)

    def frames(self, frames: npt.NDArray[np.void]) -> None:
        self._close_rows()
        self._add(records.RAW, len(frames))
        if self._reader.foreign:
            self._uninterpreted += len(frames)
            return
        self._arrays.append(frames)
        self._count += len(frames)

    def take(self, line: bytes) -> str:
        """Take the record in `line`, or what remains of records in it; returns what is wrong, empty for nothing."""
        try:
            record = records.parse(line)
        except RecordError as error:
            for record in records.salvage(line):
                with suppress(RecordError):
                    self._record(record, records.seal(record.tag, record.host_s, record.payload)[:-1])
            return str(error)
        try:
            self._record(record, line)
        except RecordError as error:
            return str(error)
        return ""

    def _record(self, record: Record, line: bytes) -> None:
        """Take one sound record, if it stands in its place.

        Raises RecordError when its payload is not what its tag promises.
        """
        taken, refused = self._reader.judge(record, line)
        for one in refused:
            if one.reason:
                self.tell(one.placed.line_number, one.placed.byte_offset, one.reason)
        for placed in taken:
            self.accept(placed.record)

    def accept(self, record: Record) -> None:
        """Take what a record holds.

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
        frames = together(self._arrays) if self._arrays else np.empty(0, dtype=FRAME_DTYPE)
        told = (self._damage, self._damaged)
        return Batch(frames, self._events, *told, self._wire_damage, self._records, self._uninterpreted)

    def _raw(self, record: Record) -> None:
        line = records.raw_line(record.payload)
        try:
            message = decode(line)
        except LineError:
            self._wire_damage += 1
            return
        if isinstance(message, Report) and self._reader.foreign:
            self._uninterpreted += 1
        elif isinstance(message, Report):
            self._rows.append((record.host_s, *_VALUES(message)))
            self._count += 1
        elif isinstance(message, Identity | Hardware | State):
            if isinstance(message, Identity):
                self._reader.foreign = not speaks_our_protocol(message.protocol)
            kind = type(message)
            detail = {name: getattr(message, name) for name in _FIELDS[kind]}
            self._events.append(Event(record.host_s, self._count, _ABOUT_BOARD[kind], detail))

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
