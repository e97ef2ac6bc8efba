"""The firmware's portable core, built for this computer: golden vectors, the codec, and a fuzzer."""

from __future__ import annotations

import ctypes
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_protocol.crc import crc16
from firmware_protocol.messages import (
    INTERVAL_RANGE_MS,
    Ack,
    Capability,
    Command,
    CommandError,
    FilterRule,
    Flag,
    Identity,
    Refusal,
    Report,
    State,
    decode,
    decode_command,
    encode_command,
    encode_reply,
    encode_report,
    filter_argument,
    outputs_argument,
)
from tests.firmware_protocol.board_tools import UNSENT, Core, build, missing_for_core
from tests.firmware_protocol.vector_files import rows, unescape

pytestmark = pytest.mark.skipif(bool(missing_for_core()), reason=missing_for_core() or "can be built")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("core")


@pytest.fixture(scope="module")
def core(folder: Path) -> Core:
    return Core(build("core", folder) / "libcore.so")


@pytest.fixture
def fresh(core: Core) -> Core:
    """A board just started at clock 0, its start-up line read."""
    core.power_on()
    core.start()
    return core


def _reports(lines: list[bytes]) -> list[Report]:
    return [message for message in map(decode, lines) if isinstance(message, Report)]


@settings(deadline=None)
@given(data=st.binary(max_size=100))
def test_checksum(core: Core, data: bytes) -> None:
    crc = 0xFFFF
    for byte in data:
        crc = core.lib.wire_crc(crc, byte)
    assert crc == crc16(data)


@pytest.mark.parametrize("row", [pytest.param(row, id=row["name"]) for row in rows("commands.tsv")])
def test_answers_of_the_golden_vectors(fresh: Core, row: dict[str, str]) -> None:
    fresh.start(capabilities=int(row["fitted"], 16))
    fresh.clock = 99_000  # before the first report is due
    fresh.clock = 123_456
    lines = [sent for sent in fresh.answers(unescape(row["line"])) if not sent.startswith(b"R")]
    assert lines == [reply.encode() for reply in row["replies"].split("|") if reply]


@settings(deadline=None, max_examples=300)
@given(line=st.binary(max_size=40).filter(lambda data: b"\n" not in data), sealed=st.booleans())
def test_any_line_is_answered_as_the_codec_says(core: Core, line: bytes, sealed: bool) -> None:
    if sealed:
        line = line + b" "
        line += b"%04X" % crc16(line)
    core.clock = 0
    core.start()
    answers = core.answers(line)
    line = line.removesuffix(b"\r")
    if not line:
        assert answers == []
        return
    try:
        command = decode_command(line)
    except CommandError as refused:
        assert answers == [encode_reply(refused.reply)]
    else:
        assert Ack(command.tag, command.letter, command.argument) in map(decode, answers)


@pytest.mark.parametrize("letter", ["p", "n", "o", "f"])
def test_every_argument_at_the_edge_of_its_range(fresh: Core, letter: str) -> None:
    low, high = INTERVAL_RANGE_MS
    arguments = {
        "p": [0],
        "f": [
            n << 20 | rule << 16 | us for n in (0, 1, 2, 3) for rule in (0, 1, 2) for us in (0, 49, 50, 50_000, 50_001)
        ],
        "n": [0, low - 1, low, high, high + 1, 0xFFFF],
        "o": [buzzer << 20 | light << 16 | 7 for buzzer in range(16) for light in range(16)],
    }
    for argument in arguments[letter]:
        line = encode_command(Command(letter, 9, argument))
        answers = fresh.answers(line)
        try:
            decode_command(line)
        except CommandError as refused:
            assert answers == [encode_reply(refused.reply)]
        else:
            assert isinstance(decode(answers[0]), Ack)


def test_start_up_line_and_once_a_minute(fresh: Core) -> None:
    fresh.clock = 0
    assert [decode(line) for line in fresh.start(boot=9, capabilities=0x1D, cause=b"W")] == [
        Identity(9, "1.1", "test-board", "1.1.0", 1023, 100, 0x1D, "W")
    ]
    lines = fresh.run_to(180_500_000, step=5000)
    places = [place for place, line in enumerate(lines) if line.startswith(b"I")]
    assert len(places) == 3
    assert len(_reports(lines[: places[1]])) == 1200
    assert len(_reports(lines)) == 1805
    states = [message for message in map(decode, lines) if isinstance(message, State)]
    gaps = [after.clock - before.clock for before, after in pairwise(states)]
    assert all(gap <= 10_010_000 for gap in gaps)
    assert all(line.startswith(b"H") for place, line in enumerate(lines) if lines[place - 1].startswith(b"I"))


def test_reports_say_what_the_chip_says(fresh: Core) -> None:
    fresh.clock = 0
    fresh.start(cause=b"B")
    fresh.lib.chip_set_inputs(True, 4100)
    for clock, count in ((30_000, 500), (60_000, 517), (90_000, 499)):
        fresh.clock = clock
        fresh.lib.chip_set_pressure(count)
        fresh.flow()
        fresh.wheel()
        fresh.passes()
    fresh.clock = 90_050
    fresh.flow()  # too soon
    fresh.clock = 100_001
    (report,) = _reports(fresh.passes())
    flags = Flag.SPRAY | Flag.SUPPLY_LOW | Flag.UNPLANNED_RESET | Flag.FLOW_GLITCH
    mean = (500 + 517 + 499) * 16 // 3
    assert report == Report(5, 0, 100_001, 3, 90_000, 3, 90_000, mean, 499, 517, flags, 0, 0)
    (after,) = _reports(fresh.run_to(200_000, step=33_333))
    assert (after.seq, after.flags & Flag.FLOW_GLITCH, after.pressure_mean, after.flow_edge) == (1, 0, 0, 90_000)


@pytest.mark.parametrize("row", [pytest.param(row, id=row["name"]) for row in rows("reports.tsv")])
def test_writes_the_reports_of_the_golden_vectors(fresh: Core, row: dict[str, str]) -> None:
    """Line building alone: the values are put in by hand."""

    class Line(ctypes.Structure):
        _fields_ = (("text", ctypes.c_char * 80), ("length", ctypes.c_uint8))

    expected = unescape(row["line"])
    line = Line()
    fresh.lib.line_start(ctypes.byref(line), ord("R"))
    report = Report(**{name: int(value) for name, value in row.items() if name not in ("name", "line")})
    text = encode_report(report)[:-5].decode()[1:]
    fields = text.split(" ")
    for place, field in enumerate(fields):
        parts = [field[:2], field[2:]] if place == len(fields) - 1 else [field]
        for nth, part in enumerate(parts):
            joined = place == 0 or nth == 1
            write = fresh.lib.line_hex if joined else fresh.lib.line_space_hex
            write(ctypes.byref(line), ctypes.c_uint32(int(part, 16)), len(part))
    fresh.lib.line_seal(ctypes.byref(line))
    assert ctypes.string_at(ctypes.byref(line), 80) == expected + b"\n"


def test_edge_time_is_nought_only_before_the_first_pulse(fresh: Core) -> None:
    fresh.clock = 2**32 - 50_000
    fresh.start()
    (before,) = _reports(fresh.run_to(2**32 - 1, step=1000) + fresh.run_to(50_000)[:1])
    assert before.flow_edge == 0
    fresh.clock = 0
    fresh.flow()  # exactly as the clock turns over
    (report,) = _reports(fresh.run_to(150_000)[-1:])
    assert (report.flow_count, report.flow_edge) == (1, 1)


def test_interval_is_set_and_kept_without_drift(fresh: Core) -> None:
    fresh.clock = 10_000
    assert Ack(1, "n", 20) in map(decode, fresh.answers(encode_command(Command("n", 1, 20))))
    clocks = [report.clock for report in _reports(fresh.run_to(2_010_000, step=700))]
    assert len(clocks) == 100
    assert all(0 <= clock - (10_000 + 20_000 * (n + 1)) < 1400 for n, clock in enumerate(clocks))
    identity = decode(fresh.answers(encode_command(Command("q", 2)))[0])
    assert isinstance(identity, Identity)
    assert identity.interval_ms == 20
    fresh.start()
    assert len(_reports(fresh.run_to(fresh.clock + 1_000_000))) == 10  # not kept over a reset


def test_a_board_held_up_sends_no_burst(fresh: Core) -> None:
    fresh.clock = 1_234_567
    assert len(_reports(fresh.passes())) == 1
    assert [report.seq for report in _reports(fresh.run_to(1_534_567))] == [1, 2, 3]


def test_no_room_drops_whole_lines_and_counts_them(fresh: Core) -> None:
    fresh.lib.chip_set_sender(79, UNSENT)
    fresh.flow()
    assert fresh.run_to(350_000) == []
    fresh.lib.chip_set_sender(80, UNSENT)
    (report,) = _reports(fresh.run_to(400_000))
    assert (report.seq, report.lines_dropped, report.flow_count) == (3, 3, 1)


def test_answers_wait_for_room_and_never_push_out_a_report(fresh: Core) -> None:
    fresh.lib.chip_set_sender(100, UNSENT)
    fresh.send(encode_command(Command("q", 1)) + b"\n" + encode_command(Command("p", 2)) + b"\n")
    assert [line[:1] for line in fresh.run_to(250_000)] == [b"R", b"R"]
    fresh.lib.chip_set_sender(255, UNSENT)
    assert [line[:1] for line in fresh.run_to(260_000)] == [b"I", b"A", b"H", b"S", b"A"]


@pytest.mark.parametrize(
    ("pattern", "on"),
    [(0, ""), (1, "##########" * 2), (2, "#####.....#####....."), (3, "#.#.#.#.#.#.#.#.#.#.")],
)
def test_patterns_beat_and_end(fresh: Core, pattern: int, on: str) -> None:
    fresh.clock = 5_000
    fresh.send(encode_command(Command("o", 1, outputs_argument(pattern, 0, 20))) + b"\n")
    fresh.passes()
    seen = ""
    for tenth in range(25):
        fresh.run_to(5_000 + tenth * 100_000 + 50_000)
        seen += "#" if fresh.lib.chip_buzzer() else "."
        assert not fresh.lib.chip_light()
    assert seen == on.ljust(25, ".")


def test_pattern_until_changed_and_its_flag(fresh: Core) -> None:
    fresh.send(encode_command(Command("o", 1, outputs_argument(0, 1, 0))) + b"\n")
    reports = _reports(fresh.run_to(20_000_000, step=20_000))
    assert fresh.lib.chip_light()
    assert all(report.flags & Flag.OUTPUT_ON for report in reports)
    fresh.send(encode_command(Command("o", 2, 0)) + b"\n")
    assert not _reports(fresh.run_to(20_200_000))[-1].flags & Flag.OUTPUT_ON
    assert not fresh.lib.chip_light()


def test_a_bouncing_switch_is_waited_for(fresh: Core) -> None:
    for bounce in range(32):  # open and closed in turn, for 3 ms each, until 96 ms
        fresh.lib.chip_set_inputs(bounce % 2 == 1, 5000)
        fresh.run_to(3_000 * (bounce + 1))
    assert not _reports(fresh.run_to(100_000))[-1].flags & Flag.SPRAY
    assert _reports(fresh.run_to(200_000))[-1].flags & Flag.SPRAY
    fresh.run_to(285_000)
    fresh.lib.chip_set_inputs(False, 5000)  # a break of 10 ms around the report
    fresh.run_to(295_000)
    fresh.lib.chip_set_inputs(True, 5000)
    assert _reports(fresh.run_to(400_000))[-1].flags & Flag.SPRAY
    fresh.lib.chip_set_inputs(False, 5000)
    assert not _reports(fresh.run_to(500_000))[-1].flags & Flag.SPRAY


@pytest.mark.parametrize("seed", [1, 2])
def test_fuzz(folder: Path, seed: int) -> None:
    program = build("fuzz", folder) / "fuzz_core"
    done = subprocess.run([program, "2", str(seed)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_refusals_are_the_codecs(fresh: Core) -> None:
    assert [decode(line) for line in fresh.answers(b"x" * 32)] == [Refusal(0, 0x04)]


def _state(core: Core) -> State:
    core.send(encode_command(Command("q", 0)) + b"\n")
    return next(m for _ in range(8) for m in map(decode, core.passes()) if isinstance(m, State))


def test_refused_edges_are_counted_and_told(fresh: Core) -> None:
    for clock in range(1000, 51_000, 1000):
        for close in (0, 30, 60):
            fresh.clock = clock + close
            fresh.flow()
        fresh.wheel()
    state = _state(fresh)
    assert (state.flow_refused, state.wheel_refused, state.flow_dropped, state.wheel_dropped) == (100, 0, 0, 0)
    assert state.supply == 5000


def _set_filter(core: Core, rule: FilterRule, microseconds: int) -> None:
    argument = filter_argument(Capability.WHEEL, rule, microseconds)
    answers = [decode(line) for line in core.answers(encode_command(Command("f", 1, argument)))]
    assert Ack(1, "f", argument) in answers
    assert isinstance(answers[-1], Identity)


def test_a_filter_outlives_a_restart_but_not_a_power_off(fresh: Core) -> None:
    fresh.restart(boot=5)
    _set_filter(fresh, FilterRule.REST, 8000)
    fresh.restart(boot=6)
    state = _state(fresh)
    assert (state.wheel_rule, state.wheel_filter, state.flow_filter) == (FilterRule.REST, 8000, 100)
    fresh.restart(boot=7, trusted=False)
    assert (_state(fresh).wheel_rule, _state(fresh).wheel_filter) == (FilterRule.SPACING, 400)


def test_rest_counts_only_after_the_input_was_quiet(fresh: Core) -> None:
    _set_filter(fresh, FilterRule.REST, 5000)
    clock, pulses = 100_000, 0

    def level(after_us: int, active: bool) -> None:
        nonlocal clock
        clock += after_us
        fresh.clock = clock
        fresh.lib.chip_wheel_level(active)

    for gap, counts in ((5000, True), (4999, False), (5001, True), (20_000, True), (300, False)):
        level(gap, True)
        level(700, False)
        pulses += counts
    state = _state(fresh)
    assert state.wheel_refused == 2
    fresh.clock = clock + 1_000_000
    assert _reports(fresh.passes())[-1].wheel_count == pulses == 3
