from dataclasses import replace

import pytest

from firmware_protocol.messages import Report
from host.calibrate.guide import Guide
from host.calibrate.vessels import JUG
from host.errors import UserError

STILL = Report(3, 0, 0, 2**32 - 5, 1_000, 0, 0, 1600, 100, 100, 0, 0, 0)


def flowing(first: int, count: int, hertz: float = 50.0, boot: int = 3) -> list[Report]:
    """`count` reports of 0.1 s after `first` of them, with pulses at `hertz`, the counter wrapping on the way."""
    reports = []
    for number in range(first, first + count):
        pulses = int(0.1 * hertz * number)
        reports.append(
            replace(
                STILL,
                boot=boot,
                flow_count=(STILL.flow_count + pulses) % 2**32,
                flow_edge=(1_000 + round(pulses * 1e6 / hertz)) % 2**32,
                wheel_count=pulses,
                wheel_edge=round(pulses * 1e6 / hertz),
                pressure_mean=1600 + number % 2 * 32,
            )
        )
    return reports


def test_a_catch_from_begin_to_amount():
    guide = Guide("flow")
    assert "Put an empty vessel" in guide.say()
    guide.watch(STILL)
    guide.begin()
    for report in flowing(1, 100):
        guide.watch(report)
    assert guide.live().pulses == 500
    assert guide.live().frequency_hz == pytest.approx(50.0)
    guide.end()
    guide.watch(flowing(101, 1)[0])  # drips after the end
    assert "enter how much was caught" in guide.say()
    taken = guide.enter(1.1e-3)
    assert (taken.pulses, taken.amount) == (500, 1.1e-3)
    assert taken.pulses / taken.duration_s == pytest.approx(50.0)
    assert guide.step == "ready"
    assert "three catches at each of two flows" in guide.say()


def test_undo_drops_what_runs_and_then_the_last_one():
    guide = Guide("wheel")
    guide.watch(STILL)
    for _ in range(2):
        guide.begin()
        for report in flowing(1, 20):
            guide.watch(report)
        guide.end()
        guide.enter(30.0)
        guide.watch(STILL)
    guide.begin()
    assert guide.undo() == "The one that was running is dropped."
    assert len(guide.taken) == 2
    assert guide.undo() == "The last one is dropped; 1 left."
    guide.undo()
    with pytest.raises(UserError, match="nothing to undo"):
        guide.undo()


def test_a_restart_of_the_board_drops_the_catch_and_says_so():
    guide = Guide("flow")
    guide.watch(STILL)
    guide.begin()
    with pytest.raises(UserError, match="the board restarted"):
        guide.watch(flowing(5, 1, boot=4)[0])
    assert guide.step == "ready"
    guide.begin()


def test_pressure_is_the_mean_of_the_counts():
    guide = Guide("pressure")
    guide.watch(STILL)
    guide.begin()
    with pytest.raises(UserError, match="wait a moment"):
        guide.end()
    for report in flowing(0, 20):
        guide.watch(report)
    guide.end()
    assert guide.enter(0.0).mean_counts == pytest.approx(101.0)


@pytest.mark.parametrize(
    ("act", "says"),
    [
        (lambda guide: guide.begin(), "no report of the board"),
        (lambda guide: guide.end(), "nothing is running"),
        (lambda guide: guide.enter(1.0), "nothing waits"),
    ],
)
def test_steps_out_of_order(act, says):
    with pytest.raises(UserError, match=says):
        act(Guide("flow"))


def test_nothing_counted_and_nothing_caught():
    guide = Guide("flow")
    guide.watch(STILL)
    guide.begin()
    with pytest.raises(UserError, match="already begun"):
        guide.begin()
    with pytest.raises(UserError, match="nothing was counted"):
        guide.end()
    for report in flowing(1, 20):
        guide.watch(report)
    guide.end()
    for wrong in (0.0, -1.0, float("nan")):
        with pytest.raises(UserError, match="above zero"):
            guide.enter(wrong)
    assert guide.step == "amount"


def test_one_of_those_taken_can_be_dropped():
    guide = Guide("flow")
    for number in (1, 2, 3):
        guide.watch(STILL)
        guide.begin()
        for report in flowing(1, 20):
            guide.watch(report)
        guide.end()
        guide.enter(number * 1e-3, JUG)
    assert guide.undo(2) == "Number 2 is dropped; 2 left."
    assert [one.amount for one in guide.taken] == [1e-3, 3e-3]
    assert guide.taken[0].vessel == JUG
    for wrong in (0, 3, -1):
        with pytest.raises(UserError, match="give one from 1 to 2"):
            guide.undo(wrong)
