from dataclasses import replace

import pytest

from firmware_protocol.messages import Report
from host.calibrate.counting import Counting
from host.calibrate.kinds import meter
from host.errors import UserError
from tests.host.calibrate.jobs import save, start

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


def test_a_catch_from_start_to_take():
    counting = Counting("flow")
    counting.watch(STILL)
    counting.start()
    for report in flowing(1, 100):
        counting.watch(report)
    assert counting.count().pulses == 500
    assert counting.count().frequency_hz == pytest.approx(50.0)
    counting.stop()
    counting.watch(flowing(101, 1)[0])  # drips afterwards
    count = counting.take()
    assert count.pulses == 500
    assert count.pulses / count.duration_s == pytest.approx(50.0)
    assert counting.step == "ready"


def test_undo_drops_what_runs():
    counting = Counting("wheel")
    counting.watch(STILL)
    counting.start()
    counting.undo()
    with pytest.raises(UserError, match="nothing is running"):
        counting.stop()
    counting.start()


def test_a_restart_of_the_board_drops_the_catch_and_says_so():
    counting = Counting("flow")
    counting.watch(STILL)
    counting.start()
    with pytest.raises(UserError, match="the board restarted"):
        counting.watch(flowing(5, 1, boot=4)[0])
    assert counting.step == "ready"
    counting.start()


def test_pressure_is_the_mean_of_the_counts():
    counting = Counting("pressure")
    counting.watch(STILL)
    counting.start()
    with pytest.raises(UserError, match="wait a moment"):
        counting.stop()
    for report in flowing(0, 20):
        counting.watch(report)
    counting.stop()
    assert counting.take().mean_counts == pytest.approx(101.0)


@pytest.mark.parametrize(
    ("act", "says"),
    [
        (lambda counting: counting.start(), "no report of the board"),
        (lambda counting: counting.stop(), "nothing is running"),
        (lambda counting: counting.take(), "start and stop first"),
    ],
)
def test_steps_out_of_order(act, says):
    with pytest.raises(UserError, match=says):
        act(Counting("flow"))


def test_nothing_counted():
    counting = Counting("flow")
    counting.watch(STILL)
    counting.start()
    with pytest.raises(UserError, match="in progress already"):
        counting.start()
    with pytest.raises(UserError, match="nothing was counted"):
        counting.stop()
    assert counting.step == "running"


def test_a_mistyped_amount_is_corrected_and_its_pulses_stay():
    session = start(meter.KIND)
    for amount in ("78 fl oz", "1/2 fl oz"):
        for report in (STILL, *flowing(50, 10)):
            session.watch(report, 1023.0)
            if report is STILL:
                session.press()
        session.press()
        save(session, "count", amount=amount)
    pulses = [point.pulses for point in session.taken]
    assert [row[2] for row in session.points().cells] == ["78 fl oz", "1/2 fl oz"], "as it was typed"
    assert "What was counted is kept" in session.undo()
    assert session.step().figure == str(pulses[1]) and len(session.rows()) == 1
    save(session, "count", amount="77 fl oz")
    assert [point.pulses for point in session.taken] == pulses
    session.undo()
    session.undo()
    assert len(session.rows()) == 1 and session.step().button == "Start", "the second one drops it"
