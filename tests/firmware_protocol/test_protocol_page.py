"""PROTOCOL.md says what the code does: tables, numbers and worked examples."""

from __future__ import annotations

import re
from dataclasses import asdict

import pytest
from crccheck.crc import Crc16Ibm3740  # type: ignore[import-untyped]

from firmware_protocol import messages
from firmware_protocol.messages import (
    COMMANDS,
    PATTERNS,
    REFUSALS,
    REPORT_FIELDS,
    REPORT_LENGTH,
    RESET_CAUSES,
    STATE_FIELDS,
    Ack,
    Capability,
    CommandError,
    Flag,
    Identity,
    Refusal,
    Report,
    State,
    decode,
    decode_command,
)
from firmware_protocol.splitter import MAX_PENDING
from tests.firmware_protocol.vector_files import FOLDER, VECTORS, rows

PAGE = (FOLDER / "PROTOCOL.md").read_text(encoding="utf-8")
EXAMPLES = [line for block in re.findall(r"```wire\n(.*?)\n```", PAGE, re.DOTALL) for line in block.splitlines()]


def _section(title: str) -> str:
    start = PAGE.index(f"\n## {title}")
    end = PAGE.find("\n## ", start + 1)
    return PAGE[start : end if end > 0 else None]


def _table(text: str, first_heading: str) -> list[list[str]]:
    """Body cells, back-ticks taken off, of the first table in `text` whose first column has that heading."""
    lines = text[text.index(f"\n| {first_heading} |") + 1 :].split("\n\n", maxsplit=1)[0].splitlines()
    return [[cell.strip().strip("`") for cell in line.strip("|").split("|")] for line in lines[2:]]


def _read(line: str) -> messages.Message | messages.Command | None:
    """An example line as its receiver takes it: a command that a board refuses gives the refusal."""
    if line[0].isupper():
        return decode(line.encode())
    try:
        return decode_command(line.encode())
    except CommandError as refused:
        return refused.reply


def test_report_table_is_the_codec() -> None:
    table = _table(_section("5."), "Field")[1:-1]  # without the letter and the checksum
    assert [(name, int(digits)) for name, _, digits, *_ in table] == list(REPORT_FIELDS)
    ruler = Report(*[0] * len(REPORT_FIELDS))
    for name, start, digits, _, reach, meaning in table:
        highest = messages.encode_report(Report(**{**asdict(ruler), name: 16 ** int(digits) - 1})).decode()
        place = int(start)
        assert highest[place : place + int(digits)] == "F" * int(digits)
        assert (highest[place - 1] != " ") == meaning.endswith("joined"), name
        top = 65520 if name == "pressure_mean" else 16 ** int(digits) - 1
        assert reach.removesuffix(", wraps") == f"0 to {top}"


def test_state_table_is_the_codec() -> None:
    table = _table(_section("6.")[_section("6.").index("### State") :], "Field")
    fields = [(name, int(digits)) for name, digits, *_ in table]
    assert fields == list(STATE_FIELDS)


@pytest.mark.parametrize(("section", "bits"), [("5.", Flag), ("6.", Capability)])
def test_bit_tables(section: str, bits: type[Flag] | type[Capability]) -> None:
    table = _table(_section(section), "Bit")
    assert {name: int(bit.removesuffix("h"), 16) for bit, name, _ in table} == {bit.name: bit.value for bit in bits}


def test_refusal_command_and_cause_tables() -> None:
    refusals = {int(code.removesuffix("h"), 16): meaning for code, meaning, _ in _table(_section("6."), "Code")}
    assert refusals == REFUSALS
    commands = {letter: (meaning, int(digits)) for letter, meaning, digits, _ in _table(_section("7."), "Letter")}
    assert commands == COMMANDS
    assert dict(_table(_section("6."), "Cause")) == RESET_CAUSES
    patterns = re.search(r"Patterns: (.*?)\. A new", _section("7."), re.DOTALL)
    assert patterns
    without_times = re.sub(r"\s*\(.*?\)", "", patterns[1])
    assert dict(part.split(" ", 1) for part in without_times.split(", ")) == {str(n): p for n, p in PATTERNS.items()}


def test_numbers_in_the_text() -> None:
    assert f"Version {messages.PROTOCOL_VERSION}." in PAGE
    assert messages.BAUDS[0] == messages.BAUD
    assert all(f"{baud:,} baud" in PAGE for baud in messages.BAUDS)
    assert f"at most {REPORT_LENGTH} characters, {messages.MAX_LINE} bytes" in PAGE
    assert f"A command **MUST** be at most {messages.MAX_COMMAND} characters" in PAGE
    assert f"at most {MAX_PENDING} bytes without a line feed" in PAGE
    low, high = messages.INTERVAL_RANGE_MS
    assert f"{low} to {high} ms ({low:04X}h to {high:04X}h)" in PAGE
    assert f"starts with {messages.DEFAULT_INTERVAL_MS} ms" in PAGE
    assert f"1/{messages.MEAN_STEPS} count" in PAGE
    low, high = messages.FILTER_RANGE_US
    assert f"T, {low}\n  to {high:,} µs ({low:04X}h to {high:04X}h)" in PAGE
    assert f"comes every {messages.STATE_EVERY_S:.0f} s" in PAGE


def test_wrap_table_is_arithmetic() -> None:
    table = {row[0]: row[2] for row in _table(_section("9."), "Counter")}
    minutes, seconds = divmod(2**32 / 1e6, 60)
    assert table["clock`, edge times"] == f"{minutes:.0f} min {seconds:.6f} s"
    assert table["flow_count`, `wheel_count"].startswith(f"{2**32 / 5000 / 86400:.1f} days")
    assert table["seq"].startswith(f"{2**16 * 0.1 // 3600:.0f} h {2**16 * 0.1 % 3600 // 60:.0f} min")


def test_examples_are_sound_by_an_independent_checksum() -> None:
    assert len(EXAMPLES) > 10
    for line in EXAMPLES:
        assert line[-5:] == f" {Crc16Ibm3740.calc(line[:-4].encode()):04X}", line
        assert _read(line) is not None


def test_report_example_byte_by_byte() -> None:
    section = _section("13.")
    line = re.findall(r"```wire\n(R.*)\n", section)[0]
    report = decode(line.encode())
    assert isinstance(report, Report)
    values = asdict(report)
    places = set()
    for start, characters, octets, name, value in _table(section, "Start"):
        place = int(start)
        assert line[place : place + len(characters)] == characters
        assert bytes.fromhex(octets).decode() == characters
        places |= set(range(place, place + len(characters)))
        if name in values:
            assert int(re.split(r"[: ]", value)[0]) == values.pop(name)
    assert values == {}
    assert {line[place] for place in set(range(len(line))) - places} == {" "}
    rate = re.search(r"\((\d+) − (\d+)\) ÷ \((\d+) − (\d+) µs\) =\s+([\d.]+)", section)
    assert rate
    new, old, edge, edge_before, result = map(float, rate.groups())
    assert (new, edge) == (report.flow_count, report.flow_edge)
    assert (new - old) / (edge - edge_before) * 1e6 == pytest.approx(result, abs=5e-4)


def test_ping_example_register_by_register() -> None:
    steps = re.search(r"FFFFh at the start, then ([0-9A-Fh, ]+)\.", _section("13."))
    assert steps
    expected = [f"{Crc16Ibm3740.calc(b'p07 '[:n]):04X}h" for n in range(1, 5)]
    assert steps[1].split(", ") == expected
    octets = re.search(r"as bytes `([0-9A-F ]+)`", _section("13."))
    assert octets
    assert bytes.fromhex(octets[1]) == next(line for line in EXAMPLES if line[0] == "p").encode() + b"\n"
    assert any(decode(line.encode()) == Ack(7, "p", 123_456) for line in EXAMPLES if line[0] == "A")


def test_other_examples_say_what_the_text_says() -> None:
    said = [_read(line) for line in EXAMPLES]
    assert Ack(8, "n", 250) in said
    assert said.count(Refusal(9, 0x03)) == 2  # the command itself, and the board's answer
    assert messages.Command("o", 10, messages.outputs_argument(3, 1, 50)) in said
    assert Identity(5, "1.1", "bench-board", "1.1.0", 1023, 100, 0x3F, "P") in said
    assert messages.Command("f", 11, messages.filter_argument(Capability.WHEEL, messages.FilterRule.REST, 8000)) in said
    assert any(isinstance(m, State) and (m.wheel_rule, m.wheel_filter, m.supply) == (1, 8000, 4950) for m in said)
    before, after = [m for m in said if isinstance(m, Report) and m.seq in (0xA7C5, 0xA7C6)]
    assert (after.clock - before.clock) % 2**32 == 100_000


def test_every_vector_file_is_described() -> None:
    listed = {file for file, _ in _table(_section("12."), "File")}
    assert listed == {path.name for path in VECTORS.glob("*.tsv")}
    assert all(len(rows(file)) >= 10 for file in listed)
