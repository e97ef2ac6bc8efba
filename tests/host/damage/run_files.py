"""A small run file, and what may become of it: bytes that changed, and records that are sound and say nonsense."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from zlib import crc32

from hypothesis import strategies as st

from firmware_protocol.messages import REPORT_FIELDS, LineError, Report, decode, encode_report
from host.calibrate.cards import make_card, snapshot
from host.events import ALARM_SEEN
from host.journal import records
from tests.host.damage.hostile import JSON_VALUES, distorted
from tests.host.library.made import simulated_run

_TIMES = [0.0, 0.000001, 3.2, 1e3, 999_999.999999, 1e6, 1e9, 1e11]
_COUNTS = st.sampled_from([0, 1, 2**31 - 1, 2**31, 2**32 - 1]) | st.integers(0, 2**32 - 1)
_RAW_PAYLOADS = [b"", b"R", b"\\q", b"\\x0g", b"Q00 0000", b"\\x00" * 70, b"A" * 300]


def sound_run(path: Path) -> list[bytes]:
    """Write a run of one short pass with all that a run may hold; returns its records, without line feeds."""
    section = {"factor": "450 pulses/L", "uncertainty": "0.5 %"}
    card = make_card("meter", "Harrow Lea bowling green boom", datetime(2026, 5, 1, tzinfo=UTC), section, {"n": 6})
    notes = {"area": "Lower green", "product": "clean water 1.5 fl oz/1000 ft2", "operator": "A. Example"}
    run = simulated_run(path, datetime(2026, 5, 14, 9, 15, tzinfo=UTC), notes)
    lines = run.read_bytes().splitlines()
    told = [
        records.json_record(records.EVENT, at_s, {"kind": kind, **detail})[:-1]
        for at_s, kind, detail in (
            (4.0, "mark", {"text": "gate"}),
            (5.0, "refill", {"added_m3": 0.004, "text": "4 L added"}),
            (6.0, ALARM_SEEN, {}),
            (7.0, "link_lost", {"reason": "pulled"}),
            (7.5, "link_back", {}),
        )
    ]
    cards = [records.json_record(records.CALIBRATION, 0.0, one)[:-1] for one in snapshot([card])]
    return lines[:2] + cards + lines[2:100] + told + lines[100:]


class File(bytes):
    """The bytes of a file, named shortly where a test fails; the same examples come every time."""

    def __repr__(self) -> str:
        return f"<{len(self)} bytes, CRC-32 {crc32(self):08X}>"


@st.composite
def nonsense(draw: st.DrawFn, sound: list[bytes]) -> File:
    """The file with one to three of its records saying something else under a right checksum, or out of place."""
    lines = list(sound)
    spoken = [place for place, line in enumerate(lines) if not line.startswith(b"L ")]
    for _ in range(draw(st.integers(1, 3))):
        place = draw(st.sampled_from(spoken) | st.integers(0, len(lines) - 1)) % len(lines)
        match draw(st.sampled_from(["say", "say", "say", "when", "swap", "again", "without"])):
            case "say":
                lines[place] = _resealed(lines[place], lambda record: _other_words(draw, record))
            case "when":
                at_s = draw(st.sampled_from(_TIMES))
                lines[place] = _resealed(lines[place], lambda record, at_s=at_s: (at_s, record.payload))
            case "swap":
                other = draw(st.integers(0, len(lines) - 1))
                lines[place], lines[other] = lines[other], lines[place]
            case "again":
                lines[place:place] = [lines[place]] * draw(st.integers(1, 40))
            case "without":
                del lines[place : place + draw(st.integers(1, 40))]
        if not lines:
            break
    return File(b"".join(line + b"\n" for line in lines))


@st.composite
def changed_bytes(draw: st.DrawFn, sound: list[bytes]) -> File:
    """The file with some of its bytes changed, missing, doubled or zero, or foreign bytes altogether."""
    data = bytearray(b"".join(line + b"\n" for line in sound))
    for _ in range(draw(st.integers(1, 6))):
        place, length = draw(st.integers(0, len(data))), draw(st.sampled_from([1, 2, 100, 5_000, 100_000]))
        match draw(st.sampled_from(["flip", "cut", "insert", "zero", "end"])):
            case "flip":
                data[place : place + 1] = bytes(byte ^ draw(st.integers(1, 255)) for byte in data[place : place + 1])
            case "cut":
                del data[place : place + length]
            case "insert":
                data[place:place] = draw(st.binary(max_size=40))
            case "zero":
                data[place : place + length] = bytes(len(data[place : place + length]))
            case "end":
                del data[place:]
    return File(data)


def _resealed(line: bytes, change: Callable[[records.Record], tuple[float, bytes]]) -> bytes:
    try:
        record = records.parse(line)
    except records.RecordError:
        return line
    return records.seal(record.tag, *change(record))[:-1]


def _other_words(draw: st.DrawFn, record: records.Record) -> tuple[float, bytes]:
    if record.tag != records.RAW:
        changed = draw(distorted(json.loads(record.payload), JSON_VALUES))
        return record.host_s, json.dumps(changed).encode("ascii")
    try:
        report = decode(records.raw_line(record.payload))
    except (LineError, records.RecordError):
        report = None
    if not isinstance(report, Report) or draw(st.integers(0, 9)) == 0:
        return record.host_s, draw(st.sampled_from(_RAW_PAYLOADS))
    values = {
        name: draw(_COUNTS) % 16**digits if draw(st.booleans()) else getattr(report, name)
        for name, digits in REPORT_FIELDS
    }
    return record.host_s, encode_report(Report(**values))
