"""RUN_FILE.md says what the code does, and the checksum is the published one."""

from __future__ import annotations

import math
import re
from importlib.resources import files
from pathlib import Path
from zlib import crc32

import numpy as np
import pytest

from host.events import EVENT_KEYS, NOTE_QUANTITIES, number_of
from host.frames import Event
from host.journal import records
from host.journal.vectorized import ROW
from host.journal.writer import PENDING_LIMIT, SYNC_INTERVAL_S, JournalWriter, Snapshot
from host.pipeline.tank import TankLevel
from tests.host.journal.samples import report_line, write_run

PAGE = files("host.journal").joinpath("RUN_FILE.md").read_text(encoding="utf-8")


def test_checksum_is_the_catalogued_one() -> None:
    """CRC-32/ISO-HDLC, check value CBF43926: CRC RevEng, Catalogue of parametrised CRC algorithms."""
    assert crc32(b"123456789") == 0xCBF43926 and "0xCBF43926" in PAGE


def test_examples_are_sound_records_and_written_as_the_code_writes_them() -> None:
    lines = [line.encode() for line in re.findall(r"^[A-Z] \d{6}\.\d{6} .* [0-9A-F]{8}$", PAGE, re.MULTILINE)]
    assert len(lines) == 4
    read = [records.parse(line) for line in lines]
    for line, record in zip(lines[:2], read, strict=False):
        assert records.raw_record(records.raw_line(record.payload), record.host_s) == line + b"\n"
    for line, record in zip(lines[2:], read[2:], strict=True):
        assert records.json_record(record.tag, record.host_s, records.content(record.payload)) == line + b"\n"


def test_tags_and_kinds_are_those_of_the_code() -> None:
    tags = set(re.findall(r"^\| `([A-Z])` \|", PAGE, re.MULTILINE))
    assert tags == {
        getattr(records, name)
        for name in ("RAW", "HEADER", "RIG", "CALIBRATION", "NOTE", "EVENT", "CHECKPOINT", "TRAILER")
    }


def test_keys_of_events_are_those_of_the_code() -> None:
    rows = re.findall(r"^\| `([a-z_]+)` \| ([^|]*)\|", PAGE, re.MULTILINE)
    assert {kind: set(re.findall(r"`(\w+)`", keys)) for kind, keys in rows} == {
        kind: set(keys) for kind, keys in EVENT_KEYS.items()
    }


def test_notes_read_as_quantities_are_those_of_the_code() -> None:
    table = PAGE.partition("| key of a note |")[2].partition("\n\n")[0]
    rows = dict(re.findall(r"^\| ([a-z ]+) \| ([^|]*) \|", table, re.MULTILINE))
    assert rows.keys() == NOTE_QUANTITIES.keys()
    for key, kinds in NOTE_QUANTITIES.items():
        for kind in kinds:
            assert kind.replace("_", " ") in rows[key]


@pytest.mark.parametrize(("kind", "keys"), [("rain", {}), ("mark", {"txt": "x"}), ("disk_back", {"text": "x"})])
def test_writer_refuses_what_the_page_does_not_name(kind: str, keys: dict[str, str], tmp_path: Path) -> None:
    writer = JournalWriter(tmp_path / "a.sward", Snapshot({}, ""))
    with pytest.raises(ValueError, match=kind):
        writer.event(kind, 1.0, **keys)
    writer.close("complete", "", 0, 1.0)


@pytest.mark.parametrize("value", [None, "3", True, -0.001, math.nan, [0.01]])
def test_a_refill_without_a_sound_amount_fills_the_tank(value: object) -> None:
    event = Event(0.0, 0, "refill", {"added_m3": value})
    assert number_of(event, "added_m3") is None
    assert TankLevel(0.06).push(np.array([0.01]), [event])[0] == 0.06 - 0.01


def test_sizes_are_those_of_the_code() -> None:
    assert f"{records.MAX_RECORD:,} bytes" in PAGE and f"{records.MAX_PAYLOAD:,}" in PAGE
    assert f"Format version: **{records.SCHEMA}**" in PAGE
    assert ROW == len(records.raw_record(report_line(1), 999_999.0)) == 105 and "105 bytes" in PAGE
    assert PENDING_LIMIT == 64 << 20 and "64 MiB" in PAGE and SYNC_INTERVAL_S == 0.5 and "half second" in PAGE


def test_order_of_records_is_as_told(tmp_path: Path) -> None:
    write_run(tmp_path / "a.sward", 2)
    lines = (tmp_path / "a.sward").read_bytes().split(b"\n")
    assert "".join(chr(line[0]) for line in lines if line) == "HGCHGCNELLELLZ"
    assert lines[:3] == lines[3:6] and lines[-1] == b""
