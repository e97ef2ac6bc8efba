"""The firmware itself, held to PROTOCOL.md: its vectors, its worked examples, and what it says a board must do."""

import re
from itertools import pairwise
from pathlib import Path

import pytest

from firmware_protocol.messages import Report, decode
from tests.other_firmware import wire
from tests.other_firmware.board import Already, Board, Build, Restart, played
from tests.other_firmware.boom import Boom, Walk, walked
from tests.other_firmware.filters import REST, SPACING, Input

VECTORS = Path(__file__).parents[2] / "firmware_protocol" / "vectors"
SHORT = walked(Boom(), Walk(passes=1, length_m=6.0, rest_s=1.0, turn_s=1.0), 1)


def rows(name):
    lines = [line for line in (VECTORS / name).read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return [line.split("\t") for line in lines[1:]]


def raw(text):
    return re.sub(rb"\\x(..)", lambda found: bytes([int(found[1], 16)]), text.encode("ascii"))


def reports(pieces):
    lines = [decode(line) for line in b"".join(data for _, data in pieces).split(b"\n") if line.startswith(b"R")]
    return [line for line in lines if isinstance(line, Report)]


@pytest.mark.parametrize("row", rows("commands.tsv"), ids=lambda row: row[0])
def test_commands_are_answered_as_the_vectors_say(row):
    _, line, fitted, replies = row
    build = Build(
        name="test-board",
        firmware="1.1.0",
        full_scale=1023,
        fitted=int(fitted, 16),
        drift=0.0,
        flow_filter=(SPACING, 100),
        wheel_filter=(SPACING, 400),
    )
    board = Board(build, SHORT, boot=5, already=Already(clock_us=123456 - 150_000))
    board.advance(0.15)
    board.receive(0.15, raw(line) + b"\n")
    said = [data.decode("ascii").rstrip("\n") for _, data in board.advance(0.249)]
    answers = [one for one in said if one[0] not in "RHS"]
    assert "|".join(answers) == replies


def test_a_report_is_the_worked_one():
    # PROTOCOL.md section 13.
    made = wire.Report(5, 10, 1100012, 40, 1087344, 9, 1012320, (8123, 499, 517), 1, 0, 0)
    assert made.written() == b"R05 000A 0010C8EC 00000028 00109770 00000009 000F7260 1FBB 1F3 205 01 0000 78F3\n"


def test_a_filter_of_spacing_and_one_of_rest():
    # PROTOCOL.md section 5, "A pulse".
    spacing, rest = Input(SPACING, 1000), Input(REST, 1000)
    for time, quiet in ((0.010, 0.0005), (0.0105, 0.0002), (0.0111, 0.0003), (0.02, 0.0089)):
        spacing.take(time, quiet, lambda: True)
        rest.take(time, quiet, lambda: True)
    assert (spacing.count, spacing.refused, spacing.edge) == (3, 1, 0.02)
    assert (rest.count, rest.refused, rest.glitch) == (1, 3, True)


@pytest.mark.parametrize("interval_ms", [20, 100, 1000])
def test_reports_come_at_the_interval_of_the_boards_own_clock(interval_ms):
    board = Board(Build(room=256), SHORT, interval_ms=interval_ms)
    clocks = [one.clock for one in reports(played(board, SHORT.lasts))]
    assert len(clocks) == int(SHORT.lasts * 1.003 / interval_ms * 1000)
    assert clocks == [pytest.approx(n * interval_ms * 1000, abs=2) for n in range(1, len(clocks) + 1)]


def test_held_up_it_sends_no_burst_and_says_what_it_dropped():
    # PROTOCOL.md section 8: "sends one report, no burst, and goes on from there".
    begins = SHORT.passes[0].begins + 2
    board = Board(Build(), SHORT, held=((begins, begins + 0.55),))
    made = reports(played(board, SHORT.lasts))
    gaps = [after.clock - before.clock for before, after in pairwise(made)]
    assert max(gaps) > 500_000 and min(gaps) > 99_000
    assert [one.seq for one in made] == list(range(len(made)))
    assert made[-1].edges_dropped > 15
    assert made[-1].flow_count + made[-1].wheel_count + made[-1].edges_dropped == len(SHORT.flow.time) + len(
        SHORT.wheel.time
    )


def test_a_stalled_line_drops_whole_reports_and_no_counts():
    begins = SHORT.passes[0].begins + 1
    board = Board(Build(), SHORT, stalls=((begins, begins + 1.0),))
    made = reports(played(board, SHORT.lasts))
    missing = made[-1].seq + 1 - len(made)
    assert missing == made[-1].lines_dropped > 5
    assert made[-1].flow_count == len(SHORT.flow.time)


@pytest.mark.parametrize("keeps", ["nothing", "counts", "report"])
def test_a_reset_inside_a_report(keeps):
    """PROTOCOL.md section 8: what had been counted and had not left comes with the next start, or is lost."""
    interval = 0.1 / 1.003
    at = round((SHORT.passes[0].begins + 2) / interval) * interval + 0.004
    board = Board(Build(keeps=keeps), SHORT, restarts=(Restart(at, 0.5),))
    lines = b"".join(data for _, data in played(board, SHORT.lasts)).split(b"\n")
    cut = next(n for n, line in enumerate(lines) if line.startswith(b"R") and len(line) < 79)
    assert lines[cut].endswith(b"?") == (keeps != "nothing")
    whole = [decode(line) for line in lines[:cut] + lines[cut + 1 :] if line.startswith(b"R")]
    old, new = [one for one in whole if one.boot == 7], [one for one in whole if one.boot == 8]
    assert old[-1].seq == int(lines[cut][4:8], 16) - (keeps != "report")
    down = sum(at < time <= at + 0.51 for time in SHORT.flow.time)
    counted = old[-1].flow_count + new[-1].flow_count
    if keeps == "nothing":
        assert counted < len(SHORT.flow.time) - down
    else:
        assert counted == pytest.approx(len(SHORT.flow.time) - down, abs=1)
        assert new[0].flow_edge == 0 or new[0].flow_edge <= new[0].clock
