"""Does every record stand where it was written? Doubled, moved, joined and missing records are found here.

A record proves its own bytes; nothing in it proves its place. Its place is proved by time, which never goes back in a
run file, by one header and one trailer, and by checkpoints: each says what stood between it and the one before.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any
from zlib import crc32

from host.journal import records
from host.journal.records import Record
from host.journal.vectorized import ROW

CHECKPOINT_S = 60.0  # between checkpoints
# A line that comes so long after the one before waits for its successor: it may have been moved here from farther on.
GAP_S = 5.0
# Before schema 1.1, what a person told could be written a moment after a line that was stamped later.
_OLD_TOLERANCE_S = 1.0
_ONCE_EACH_WRITING = (records.HEADER, records.RIG, records.CALIBRATION)
LATER = "later than what follows it: this record was moved here"
EARLIER = "earlier than what precedes it: this record is doubled or was moved here"
DOUBLED = "doubled: the same record again"
SECOND_RUN = "a second run begins here: only the first one is read"
OTHER_HEADER = "not the header that was written first: one of the two is of another run"
BEHIND_END = "behind the end of the run: not read"
OUT_OF_PLACE = frozenset((LATER, EARLIER, DOUBLED, OTHER_HEADER, SECOND_RUN, BEHIND_END))
_MOST_MISSING = 10**9  # records of a minute
_REMEMBERED = 10_000  # events and notes whose bytes are remembered, to know a doubled one


@dataclass(frozen=True, slots=True)
class Placed:
    """A sound record with its bytes (no line feed), the number of its line and the offset of its first byte."""

    record: Record
    line: bytes
    line_number: int
    byte_offset: int


@dataclass(frozen=True, slots=True)
class Refused:
    """A sound record that must not be taken where it stands. Empty `reason`: it goes on what was said before."""

    placed: Placed
    reason: str


class Order:
    """Judges records in the order of the file."""

    def __init__(self) -> None:
        self._last_s = 0.0  # the latest time of any record
        self._last_raw_s = 0.0
        self._last_raw = b""
        self._held: Placed | None = None
        self._headers = 0
        self._header = b""
        self._told: set[bytes] = set()
        self._tolerance_s = _OLD_TOLERANCE_S
        self._over = ""  # why nothing more is taken
        self._refusing = False

    @property
    def raw_from_s(self) -> float | None:
        """From which time on the next lines may be taken in bulk; None when they have to be judged one by one."""
        return None if self._held or self._over or not self._headers else max(self._last_raw_s, 0.0)

    @property
    def last_raw(self) -> bytes:
        """The line record taken last, without its line feed."""
        return self._last_raw

    def took_in_bulk(self, last_s: float, last: bytes) -> None:
        """Lines were taken together, the last of them at that time."""
        self._last_raw_s, self._last_raw = last_s, last
        self._last_s = max(self._last_s, last_s)
        self._refusing = False

    def judge(self, placed: Placed) -> tuple[list[Placed], list[Refused]]:
        """Which records may be taken now, in order, and which must not: a held one may be decided with this one."""
        taken: list[Placed] = []
        refused: list[Refused] = []
        held, self._held = self._held, None
        record = placed.record
        if held is not None:
            if record.host_s >= held.record.host_s - (0.0 if record.tag == records.RAW else self._tolerance_s):
                self._take(held, taken)
            else:
                self._refuse(held, LATER, refused)
        reason = self._over or self._wrong(placed)
        if reason:
            self._refuse(placed, reason, refused)
        elif record.tag == records.RAW and record.host_s - self._last_raw_s > GAP_S and self._last_raw:
            self._held = placed
        else:
            self._take(placed, taken)
        return taken, refused

    def finish(self) -> list[Placed]:
        """A line that was still waiting when the file ended."""
        taken: list[Placed] = []
        if self._held is not None:
            self._take(self._held, taken)
            self._held = None
        return taken

    def _wrong(self, placed: Placed) -> str:
        record = placed.record
        if record.tag == records.HEADER:
            return self._second_header(placed)
        if record.tag in (*_ONCE_EACH_WRITING, records.CHECKPOINT):
            return ""
        lines = record.tag == records.RAW
        earliest = self._last_raw_s if lines else self._last_s - self._tolerance_s
        doubled = placed.line == self._last_raw and self._unique(placed.line) if lines else placed.line in self._told
        if doubled:
            return DOUBLED
        if record.host_s < earliest:
            return EARLIER
        return ""

    def _unique(self, line: bytes) -> bool:
        """Whether no writer wrote the line twice: before 1.1 noise on the wire could come out the same twice."""
        return not self._tolerance_s or len(line) == ROW - 1

    def _second_header(self, placed: Placed) -> str:
        self._headers += 1
        if self._headers == 1:
            self._header = placed.record.payload
            if b'"schema":"1.0"' not in placed.record.payload:
                self._tolerance_s = 0.0
            return ""
        if self._headers == 2 and not self._last_raw:
            return "" if placed.record.payload == self._header else OTHER_HEADER
        self._over = SECOND_RUN
        return self._over

    def _take(self, placed: Placed, taken: list[Placed]) -> None:
        record = placed.record
        self._refusing = False
        self._last_s = max(self._last_s, record.host_s)
        if record.tag == records.RAW:
            self._last_raw_s, self._last_raw = record.host_s, placed.line
        elif record.tag in (records.NOTE, records.EVENT) and len(self._told) < _REMEMBERED:
            self._told.add(placed.line)
        elif record.tag == records.TRAILER:
            self._over = BEHIND_END
        taken.append(placed)

    def _refuse(self, placed: Placed, reason: str, refused: list[Refused]) -> None:
        refused.append(Refused(placed, "" if self._refusing else reason))
        self._refusing = True


@dataclass(slots=True)
class Segment:
    """What has been written, or read, since the last checkpoint: bytes and records."""

    number: int = 0
    crc: int = 0
    counts: dict[str, int] = field(default_factory=dict)

    def add(self, data: bytes, tag: str, count: int = 1) -> None:
        """Records of one tag, line feeds included."""
        self.crc = crc32(data, self.crc)
        self.counts[tag] = self.counts.get(tag, 0) + count

    def content(self) -> dict[str, Any]:
        """What a checkpoint, or the trailer, says of it."""
        return {"segment": self.number, "segment_crc": f"{self.crc:08X}", "segment_records": dict(self.counts)}

    def close(self) -> None:
        """The checkpoint has been written: the next segment begins behind it."""
        self.number += 1
        self.crc, self.counts = 0, {}

    def differs(self, said: dict[str, Any]) -> str:
        """How what was read differs from what a checkpoint says of it, empty when it does not."""
        number = said.get("segment")
        if number is None:  # a trailer of schema 1.0
            return ""
        if number != self.number:
            return f"checkpoint {str(number)[:12]} where checkpoint {self.number} belongs"
        if said.get("segment_crc") == f"{self.crc:08X}":
            return ""
        wanted = said.get("segment_records")
        wanted = wanted if isinstance(wanted, dict) else {}
        less = sum(max(int(wanted[tag]) - self.counts.get(tag, 0), 0) for tag in wanted if isinstance(wanted[tag], int))
        if 0 < less < _MOST_MISSING:  # no checkpoint of ours says more
            return f"{less} records missing since the checkpoint before"
        return "records since the checkpoint before were changed, doubled or exchanged"
