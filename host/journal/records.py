"""One record of a run file: how it is written and read back. RUN_FILE.md is the specification.

A record is handled here without its line feed.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any
from zlib import crc32

SCHEMA = "1.1"
MAX_RECORD = 1 << 20  # bytes; a longer stretch without a line feed is no record
MAX_PAYLOAD = MAX_RECORD // 2 - 64  # so that two records that lost the line feed between them are still looked into
CRC_DIGITS = 8
FIRST_TIME_DIGITS = 13  # characters of a time below a million seconds, eleven days

RAW, HEADER, RIG, CALIBRATION, NOTE, EVENT, CHECKPOINT, TRAILER = "L", "H", "G", "C", "N", "E", "K", "Z"

# What the columns of a report mean, kept in the header so that a file explains itself.
COLUMNS = {
    "boot": "start number of the board, modulo 256",
    "seq": "number of the report, modulo 65536",
    "clock": "board clock when the frame was closed, µs modulo 2**32",
    "flow_count": "flow meter pulses since the board started, modulo 2**32",
    "flow_edge": "board clock at the last flow pulse, µs modulo 2**32",
    "wheel_count": "wheel pulses since the board started, modulo 2**32",
    "wheel_edge": "board clock at the last wheel pulse, µs modulo 2**32",
    "pressure_mean": "pressure transducer over the frame, mean, sixteenths of an ADC count",
    "pressure_min": "pressure transducer over the frame, least, ADC counts",
    "pressure_max": "pressure transducer over the frame, greatest, ADC counts",
    "flags": "status bits",
    "edges_dropped": "pulses the board could not count, modulo 256",
    "lines_dropped": "reports the board could not send, modulo 256",
}

_START = re.compile(rb"([A-Z]) ([0-9]{6,12}\.[0-9]{6}) ")
_SHORTEST = len(b"L 000000.000000  00000000")
_CHECKSUM = re.compile(rb"[0-9A-F]{8}")
_TO_ESCAPE = re.compile(rb"[^ -\[\]-~]")
_SURROGATE = re.compile(rb"\\u[dD][89a-fA-F]")
_ESCAPED = re.compile(rb"\\(?:x([0-9A-F]{2}))?")


class RecordError(ValueError):
    """Bytes that must not be taken as a record. The message says why in a few words."""


@dataclass(frozen=True, slots=True)
class Record:
    """One sound record: its tag, seconds since the start of the run, and payload as it stands in the file."""

    tag: str
    host_s: float
    payload: bytes


def seal(tag: str, host_s: float, payload: bytes) -> bytes:
    """The record, line feed included.

    Raises ValueError for a time that is negative or not finite, or a payload longer than MAX_PAYLOAD.
    """
    if not 0 <= host_s < 1e12:
        raise ValueError(f"time since the start of the run must be 0 s or more, not {host_s}")
    if len(payload) > MAX_PAYLOAD:
        raise ValueError(f"a record holds at most {MAX_PAYLOAD} bytes, not {len(payload)}")
    body = b"%s %s %s " % (tag.encode(), f"{host_s:013.6f}".encode(), payload)
    return b"%s%08X\n" % (body, crc32(body))


def raw_record(line: bytes, host_s: float) -> bytes:
    """The record of a line as the board sent it, whatever bytes it holds."""
    return seal(RAW, host_s, _TO_ESCAPE.sub(lambda found: b"\\x%02X" % found[0][0], line))


def json_record(tag: str, host_s: float, content: dict[str, Any]) -> bytes:
    """The record of a header, snapshot, note, event or trailer.

    Raises TypeError or ValueError when `content` cannot be written as JSON.
    """
    text = json.dumps(content, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return seal(tag, host_s, text.encode("ascii"))


def parse(line: bytes) -> Record:
    """The record in `line`.

    Raises RecordError when it is damaged or no record at all.
    """
    start = _START.match(line)
    if start is None or len(line) <= start.end() + CRC_DIGITS or line[-CRC_DIGITS - 1 : -CRC_DIGITS] != b" ":
        raise RecordError("not a record")
    if line[-CRC_DIGITS:] != b"%08X" % crc32(line[:-CRC_DIGITS]):
        raise RecordError("checksum does not match")
    return Record(start[1].decode(), float(start[2]), line[start.end() : -CRC_DIGITS - 1])


def salvage(line: bytes) -> list[Record]:
    """Sound records inside a line that is none: what remains where a line feed between records was damaged.

    A record is looked for at the start of the line and one byte after anything that looks like a checksum, so text
    that a board sent cannot pass as a record of its own.
    """
    if len(line) < _SHORTEST:
        return []
    starts = [
        found.start()
        for found in _START.finditer(line)
        if found.start() == 0 or _CHECKSUM.fullmatch(line[max(found.start() - 9, 0) : found.start() - 1])
    ]
    ends = [start - 1 for start in starts[1:]] + [len(line) - 1, len(line)]
    records = []
    reached = 0
    for place, start in enumerate(starts):
        if start < reached:
            continue
        for end in ends[place : place + 4]:
            try:
                records.append(parse(line[start:end]))
            except RecordError:
                continue
            reached = end
            break
    return records


def raw_line(payload: bytes) -> bytes:
    """The board's line in the payload of a raw record.

    Raises RecordError for a backslash that is not followed as RUN_FILE.md says.
    """
    if b"\\" not in payload:
        return payload
    try:
        return _ESCAPED.sub(lambda found: bytes([int(found[1], 16)]), payload)
    except TypeError:
        raise RecordError("backslash without x and two digits") from None


def content(payload: bytes) -> dict[str, Any]:
    """The JSON object in the payload of any other record; half of a surrogate pair, which is no character, reads "?".

    Raises RecordError when it is none.
    """
    try:
        value = json.loads(payload)
        if _SURROGATE.search(payload):
            value = json.loads(json.dumps(value, ensure_ascii=False).encode("utf-8", "replace"))
    except (ValueError, RecursionError):
        raise RecordError("payload is not JSON") from None
    if not isinstance(value, dict):
        raise RecordError("payload is not a JSON object")
    return value
