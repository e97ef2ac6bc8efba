import numpy as np
import pytest

from host.calibrate.course_guide import CourseGuide
from host.errors import UserError
from tests.host.calibrate.clocks import Clock


def walk(guide, clock, seconds):
    guide.begin()
    clock.go_on(seconds)
    return guide.end()


def test_three_passes_and_their_spread():
    clock = Clock()
    guide = CourseGuide(60.0, clock)
    assert "begin as you pass the mark at its start" in guide.say()
    assert guide.spread() is None
    assert [walk(guide, clock, seconds) for seconds in (54.0, 55.0, 56.5)] == pytest.approx([54.0, 55.0, 56.5])
    assert guide.spread() == pytest.approx(np.std([54.0, 55.0, 56.5], ddof=1) / np.mean([54.0, 55.0, 56.5]))
    assert guide.say() == "Finish, or time one more pass."


def test_the_stopwatch_runs_and_a_pass_can_be_dropped():
    clock = Clock()
    guide = CourseGuide(60.0, clock)
    walk(guide, clock, 54.0)
    guide.begin()
    clock.go_on(12.0)
    assert guide.seconds() == pytest.approx(12.0)
    assert "mark at the end" in guide.say()
    assert guide.undo() == "The pass that was running is dropped."
    assert guide.seconds() == 0.0
    assert "pass 2" in guide.say()
    walk(guide, clock, 60.0)
    assert guide.undo(1) == "Number 1 is dropped; 1 left."
    assert guide.times_s == pytest.approx([60.0])
    guide.undo()
    with pytest.raises(UserError, match="nothing to undo"):
        guide.undo()


def test_what_cannot_be_timed():
    clock = Clock()
    for length in (0.0, -5.0, float("nan")):
        with pytest.raises(UserError, match="no length above zero"):
            CourseGuide(length, clock)
    guide = CourseGuide(60.0, clock)
    with pytest.raises(UserError, match="no pass is running"):
        guide.end()
    guide.begin()
    with pytest.raises(UserError, match="already begun"):
        guide.begin()
    clock.go_on(0.3)
    with pytest.raises(UserError, match="less than a second"):
        guide.end()
    assert guide.step == "running"
