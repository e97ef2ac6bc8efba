from pathlib import Path

import numpy as np
import pytest

from host.calibrate.interval import interval_of_run
from host.errors import UserError
from host.frames import FRAME_DTYPE, Event
from host.journal import RunFile

START = 2**32 - 300  # the counter wraps inside the interval
FIRST, RATE, PULSES = 20, 10, 600  # flow from 2 s on, 10 pulses in each frame of 0.1 s, 100 Hz, for 6 s


def run_file(boots=None):
    frames = np.zeros(100, dtype=FRAME_DTYPE)
    number = np.arange(100)
    frames["host_s"] = 0.1 * (number + 1)
    flowed = np.clip((number - FIRST + 1) * RATE, 0, PULSES)
    frames["flow_count"] = (START + flowed) % 2**32
    edge_us = FIRST * 100_000 + flowed * 10_000
    frames["flow_edge"] = (2**32 - 1_000_000 + edge_us) % 2**32
    frames["wheel_count"] = number
    frames["boot"] = 7 if boots is None else boots
    marks = [Event(1.5, 15, "mark", {"text": "begin"}), Event(9.5, 95, "mark", {"text": "end"})]
    twice = [Event(at, int(10 * at), "mark", {"text": "twice"}) for at in (3.0, 4.0)]
    return RunFile(Path("some.sward"), frames=frames, events=[*marks, *twice])


def test_pulses_and_flowing_time_between_two_marks_over_a_wrap():
    counted = interval_of_run(run_file(), "begin", "end")
    assert counted.flow_pulses == PULSES
    assert counted.flow_pulses / counted.flowing_s == pytest.approx(100.0, rel=1e-9)
    assert counted.wheel_pulses == 80


def test_times_in_seconds_do_as_well():
    assert interval_of_run(run_file(), "1.5", "9.5") == interval_of_run(run_file(), "begin", "end")
    nothing = interval_of_run(run_file(), "0.2", "1.5")
    assert (nothing.flow_pulses, nothing.flowing_s) == (0, 0.0)


def test_two_frames_are_enough():
    assert interval_of_run(run_file(), "3.05", "3.15").flow_pulses == RATE


@pytest.mark.parametrize(
    ("start", "end", "says"),
    [
        ("end", "begin", "two moments in order"),
        ("begin", "fin", 'no mark "fin": its marks are: begin, end, twice'),
        ("begin", "twice", "has 2 marks"),
        ("1.50", "1.51", "longer interval"),
    ],
)
def test_intervales_that_are_none(start, end, says):
    with pytest.raises(UserError, match=says):
        interval_of_run(run_file(), start, end)


def test_a_restart_inside_the_interval():
    boots = np.where(np.arange(100) < 50, 7, 8)
    with pytest.raises(UserError, match="the board restarted"):
        interval_of_run(run_file(boots), "begin", "end")


def test_a_run_without_frames_or_marks():
    with pytest.raises(UserError, match="it has no marks"):
        interval_of_run(RunFile(Path("none.sward")), "a", "b")
    with pytest.raises(UserError, match="nothing lies between"):
        interval_of_run(RunFile(Path("none.sward")), "1", "2")
