"""The Python codec against the golden vectors, which were not made with it."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np
import pytest
from crccheck.crc import Crc16Ibm3740  # type: ignore[import-untyped]

from firmware_protocol.messages import (
    MAX_COMMAND,
    REPORT_LENGTH,
    Ack,
    CommandError,
    Hardware,
    Identity,
    LineError,
    Refusal,
    Report,
    State,
    decode,
    decode_command,
    encode_hardware,
    encode_identity,
    encode_reply,
    encode_report,
    encode_state,
)
from firmware_protocol.vectorized import decode_reports
from tests.firmware_protocol.vector_files import rows, unescape


def _named(file: str) -> list[Any]:
    return [pytest.param(row, id=row["name"]) for row in rows(file)]


def _bulk_sound(line: bytes) -> bool:
    return bool(decode_reports(np.frombuffer(line, dtype=np.uint8).reshape(1, -1))[1][0])


@pytest.mark.parametrize("row", _named("reports.tsv"))
def test_report_is_read_and_written(row: dict[str, str]) -> None:
    line = unescape(row["line"])
    expected = Report(**{name: int(value) for name, value in row.items() if name not in ("name", "line")})
    assert decode(line) == expected
    assert encode_report(expected) == line


def test_reports_are_read_in_bulk() -> None:
    vectors = rows("reports.tsv")
    table = np.frombuffer(b"".join(unescape(row["line"]) for row in vectors), dtype=np.uint8)
    reports, sound = decode_reports(table.reshape(-1, REPORT_LENGTH))
    assert sound.all()
    for name in reports.dtype.names or ():
        assert reports[name].tolist() == [int(row[name]) for row in vectors]


@pytest.mark.parametrize("row", _named("board_lines.tsv"))
def test_board_line_is_read_and_written(row: dict[str, str]) -> None:
    line = unescape(row["line"])
    message = decode(line)
    if row["kind"] == "?":
        assert message is None
        return
    expected = dict(pair.split("=") for pair in row["fields"].split(" "))
    assert isinstance(message, Identity | Hardware | State | Ack | Refusal)
    assert type(message) is {"I": Identity, "H": Hardware, "S": State, "A": Ack, "E": Refusal}[row["kind"]]
    assert {name: str(value) for name, value in asdict(message).items()} == expected
    if isinstance(message, Identity):
        assert encode_identity(message) == line
    elif isinstance(message, Hardware):
        assert encode_hardware(message) == line
    elif isinstance(message, State):
        assert encode_state(message) == line
    else:
        assert encode_reply(message) == line


WHY = {
    "checksum": "checksum does not match",
    "checksum missing": "no checksum",
    "form": "checksum is right but a field is not written as the protocol says",
    "too long": "line too long",
    "not a board's line": "not a board's line",
}


@pytest.mark.parametrize("row", _named("damaged.tsv"))
def test_damaged_line_is_refused(row: dict[str, str]) -> None:
    line = unescape(row["line"])
    with pytest.raises(LineError) as caught:
        decode(line)
    assert str(caught.value) == WHY[row["why"]]
    if len(line) == REPORT_LENGTH:
        assert not _bulk_sound(line)


@pytest.mark.parametrize("row", _named("damaged.tsv"))
def test_damage_vector_means_what_it_says(row: dict[str, str]) -> None:
    """By a checksum from outside the project (crccheck): only lines called damaged by it are damaged so."""
    line = unescape(row["line"])
    matches = line[-5:-4] == b" " and line[-4:] == b"%04X" % Crc16Ibm3740.calc(line[:-4])
    assert matches == (row["why"] in ("form", "not a board's line") or row["name"].startswith("right checksum"))


@pytest.mark.parametrize("row", _named("commands.tsv"))
def test_command_is_read_as_the_replies_say(row: dict[str, str]) -> None:
    line = unescape(row["line"]).removesuffix(b"\r")
    replies = [decode(reply.encode()) for reply in row["replies"].split("|") if reply]
    if not line:
        assert replies == []
        return
    last = next(reply for reply in replies if not isinstance(reply, Identity))
    try:
        command = decode_command(line)
    except CommandError as refused:
        assert refused.reply == last
        return
    if isinstance(last, Refusal):
        assert last == Refusal(command.tag, 0x05)  # what is fitted is the board's affair
    else:
        assert isinstance(last, Ack)
        assert (last.tag, last.command) == (command.tag, command.letter)
        if command.letter in "nof":
            assert last.value == command.argument
        assert isinstance(replies[0], Identity) == (command.letter == "q")
        changed = "in force" not in row["name"] and command.letter in "nf"
        assert isinstance(replies[-1], Identity) == changed


@pytest.mark.parametrize("file", ["reports.tsv", "board_lines.tsv"])
def test_checksums_agree_with_an_independent_library(file: str) -> None:
    for row in rows(file):
        line = unescape(row["line"])
        assert line[-4:] == b"%04X" % Crc16Ibm3740.calc(line[:-4]), row["name"]


def test_longest_command_fits() -> None:
    assert (
        max(len(unescape(row["line"])) for row in rows("commands.tsv") if row["replies"].startswith("A")) < MAX_COMMAND
    )


def _totals(reports: list[tuple[float, Report]]) -> list[tuple[int, int, int, int, int]]:
    """What PROTOCOL.md, sections 8 and 9, tells a receiver to add up, written down once more and plainly."""
    starts = flow = wheel = clock = missing = 0
    seen = []
    (host_before, before), *_ = reports
    for host_s, new in reports:
        if new != before:
            elapsed = (host_s - host_before) * 1e6
            turns = round((elapsed - (new.clock - before.clock) % 2**32) / 2**32)
            ticks = (new.clock - before.clock) % 2**32 + max(turns, 0) * 2**32
            pulses = (new.flow_count - before.flow_count) % 2**32, (new.wheel_count - before.wheel_count) % 2**32
            agree = abs(ticks - elapsed) <= 60e6 + 0.02 * elapsed
            if new.boot != before.boot or max(pulses) >= 2**31 or not agree:
                starts, flow, wheel = starts + 1, flow + new.flow_count, wheel + new.wheel_count
                missing += new.seq
            else:
                flow, wheel, clock = flow + pulses[0], wheel + pulses[1], clock + ticks
                missing += (new.seq - before.seq - 1) % 2**16
        seen.append((starts, flow, wheel, clock, missing))
        host_before, before = host_s, new
    return seen


@pytest.mark.parametrize("group", sorted({row["group"] for row in rows("sequences.tsv")}))
def test_sequence_adds_up_by_the_rules_of_the_page(group: str) -> None:
    steps = [row for row in rows("sequences.tsv") if row["group"] == group]
    reports = []
    for row in steps:
        report = decode(unescape(row["line"]))
        assert isinstance(report, Report)
        reports.append((float(row["host_s"]), report))
    columns = ("starts", "flow_total", "wheel_total", "clock_total", "missing")
    assert _totals(reports) == [tuple(int(row[column]) for column in columns) for row in steps]
