"""What the core carries over a restart, on this computer: every pulse once, whatever became of the last report."""

from __future__ import annotations

import ctypes

import pytest

from firmware_protocol.messages import Command, Report, decode, encode_command
from tests.firmware_protocol.board_tools import UNSENT, Core, build, missing_for_core

pytestmark = pytest.mark.skipif(bool(missing_for_core()), reason=missing_for_core() or "can be built")


@pytest.fixture(scope="module")
def core(tmp_path_factory: pytest.TempPathFactory) -> Core:
    return Core(build("core", tmp_path_factory.mktemp("restarts")) / "libcore.so")


@pytest.fixture
def fresh(core: Core) -> Core:
    core.power_on()
    core.start()
    return core


def _reports(lines: list[bytes]) -> list[Report]:
    return [message for message in map(decode, lines) if isinstance(message, Report)]


def test_a_reset_loses_nothing_that_was_counted(fresh: Core) -> None:
    fresh.restart(boot=5)
    pulses = 0
    total = 0
    for boot in (6, 7, 8):
        for clock in range(1000, 450_000, 1000):
            fresh.clock = clock
            fresh.flow()
            pulses += 1
            for report in _reports(fresh.passes()):
                last = report
        total += last.flow_count  # all of this start that was sent: the last 49 pulses were not
        fresh.restart(boot)
    fresh.clock = 100_000
    total += _reports(fresh.passes())[-1].flow_count
    assert total == pulses


def test_a_report_cut_short_by_a_reset_is_not_taken_as_sent(fresh: Core) -> None:
    fresh.restart(boot=5)
    fresh.flow()
    fresh.lib.chip_set_sender(255, UNSENT)
    assert _reports(fresh.run_to(150_000))[-1].flow_count == 1
    fresh.restart(boot=6)
    fresh.lib.chip_set_sender(255, 0)
    assert _reports(fresh.run_to(150_000))[-1].flow_count == 1
    fresh.restart(boot=7)
    assert _reports(fresh.run_to(150_000))[-1].flow_count == 0


def test_a_report_that_lacks_only_its_line_feed_is_not_made_whole_by_the_next_start(fresh: Core) -> None:
    """Its pulses come again with that start: made whole, they would count twice."""
    fresh.restart(boot=5)
    fresh.flow()
    fresh.lib.chip_set_sender(255, UNSENT)
    fresh.run_to(150_000)
    fresh.lib.chip_keep_begin(True)
    fresh.lib.chip_board_start(6, b"test-board", b"1.1.0", 1023, 0x3F, ctypes.c_char(b"X"))
    assert fresh.sent()[0] == b"?"
    fresh.lib.chip_set_sender(255, 0)
    fresh.run_to(300_000)
    fresh.lib.chip_keep_begin(True)
    fresh.lib.chip_board_start(7, b"test-board", b"1.1.0", 1023, 0x3F, ctypes.c_char(b"X"))
    assert fresh.sent()[0].startswith(b"I07")


@pytest.mark.parametrize("unsent", [1, 2])
def test_a_report_that_may_have_arrived_comes_once_more_and_its_pulses_do_not(fresh: Core, unsent: int) -> None:
    """Its last bytes are in the sender as the reset comes. PROTOCOL.md, section 8: a receiver ignores the second."""
    fresh.restart(boot=5)
    fresh.flow()
    fresh.lib.chip_set_sender(255, UNSENT)
    fresh.run_to(100_000 - 1000)
    (line,) = fresh.run_to(100_000)
    fresh.lib.chip_set_sender(255, unsent)
    assert fresh.passes() == []
    fresh.clock = 100_500
    fresh.flow()
    for boot in (6, 7):  # and again, if the next start is cut off before it has left
        fresh.lib.chip_keep_begin(True)
        fresh.clock = 0
        fresh.lib.chip_board_start(boot, b"test-board", b"1.1.0", 1023, 0x3F, ctypes.c_char(b"X"))
        assert fresh.sent()[:2] == [b"?", line]
    fresh.lib.chip_set_sender(255, 0)
    assert _reports(fresh.run_to(101_000))[-1].flow_count == 1
    fresh.restart(boot=8)
    assert _reports(fresh.run_to(100_000))[-1].flow_count == 0


def test_lines_behind_a_report_do_not_hide_that_it_has_left(fresh: Core) -> None:
    fresh.restart(boot=5)
    fresh.flow()
    fresh.lib.chip_set_sender(255, UNSENT)
    fresh.run_to(100_000)
    reply = len(fresh.answers(encode_command(Command("p", 1)))[0]) + 1
    fresh.lib.chip_set_sender(255, reply)
    fresh.passes()
    fresh.lib.chip_set_sender(255, 0)
    fresh.restart(boot=6)
    assert _reports(fresh.run_to(100_000))[-1].flow_count == 0


def test_more_unsent_pulses_than_can_be_are_not_believed(fresh: Core) -> None:
    for pulses, carried in ((730, 730), (99_999, 99_999), (100_000, 0)):
        fresh.power_on()
        fresh.restart(boot=5)
        for clock in range(1, pulses + 1):
            fresh.clock = clock * 400
            fresh.flow()
        fresh.restart(boot=6)
        assert _reports(fresh.run_to(100_000))[-1].flow_count == carried


@pytest.mark.parametrize("filling", [0x00, 0xFF, 0xA5])
def test_after_a_power_off_counts_begin_at_nought(fresh: Core, filling: int) -> None:
    fresh.lib.chip_lose_memory(filling)
    fresh.restart(boot=6)
    report = _reports(fresh.run_to(100_000))[-1]
    assert (report.flow_count, report.wheel_count) == (0, 0)
