"""What becomes the level of c that the next reports are held against: nothing that is still on its way. Made here: an
even flow, ten reports a second, one percent of noise."""

import numpy as np
import pytest

from host.pipeline.faults.steps import StepWatch, Usable
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING

LAG_S = 0.45


def watched(off, start=None, interval_s=0.1):
    """What the watch makes of reports with ln c off by `off`, shape (n,)."""
    n = len(off)
    noise = np.random.default_rng(3).normal(0.0, 0.01, n)
    pulses = np.full(n, 20.0)
    watch = StepWatch(Timing(interval_s))
    frames = Usable(
        pulses,
        pulses / np.exp(off + noise),
        np.cumsum(pulses).astype(np.int64),
        np.full(n, 12.0),
        np.full(n, 6.0),
        np.arange(n) * interval_s,
        np.zeros(n, dtype=np.int64) if start is None else start,
        np.zeros(n, dtype=bool),
    )
    return watch, watch.push(frames)


def dip(n, at, lasts):
    """ln of a flow that is shut off for `lasts` reports from report `at` on, behind a slow rotor."""
    flow, out = 1.0, []
    for i in range(n):
        flow += ((0.0 if at <= i < at + lasts else 1.0) - flow) * (1.0 - np.exp(-0.1 / LAG_S))
        out.append(flow)
    return np.log(out)


def test_a_rotor_that_runs_down_at_the_end_of_a_pass_is_no_level_in_the_next_one():
    off = np.concatenate((np.zeros(300), -np.arange(1, 22) * 0.1 / LAG_S, np.zeros(100)))
    start = np.repeat([1, 2], [321, 100])
    watch, found = watched(off, start)
    assert watch.baseline == pytest.approx(0.0, abs=0.01)
    assert found.levels == []
    assert [step.down for step in found.steps] == [True], "the end of the pass, and nothing in the next"


@pytest.mark.parametrize("at", [10, 20, 300])  # while the first level is begun, right after it, and later
@pytest.mark.parametrize("lasts", [4, 8])
def test_a_hand_off_the_trigger_leaves_the_level(lasts, at):
    watch, found = watched(dip(at + 100, at, lasts))
    assert watch.baseline == pytest.approx(0.0, abs=0.01)
    assert found.levels == []


@pytest.mark.parametrize("interval_s", [0.02, 0.05, 0.1, 0.5, 1.0])
@pytest.mark.parametrize("size", [-0.2, 0.2])
def test_a_change_six_seconds_after_the_first_frame_is_found_by_a_board_of_any_interval(interval_s, size):
    """Not taken for the boom as it should be; and a rise is no slow change, which makes no sound."""
    at, n = round(6.0 / interval_s), round(40.0 / interval_s)
    _, found = watched(np.where(np.arange(n) < at, 0.0, size), interval_s=interval_s)
    first, *_ = found.steps
    assert first.down == (size < 0)
    assert first.adaptive
    assert 0 <= (first.at - at) * interval_s < max(4.0, 6 * interval_s)


@pytest.mark.parametrize("interval_s", [0.05, 0.1, 1.0])
def test_a_change_that_stays_is_a_level_whatever_becomes_of_its_first_word(interval_s):
    n = round(60.0 / interval_s)
    _, found = watched(np.where(np.arange(2 * n) < n, 0.0, -0.05), interval_s=interval_s)
    (level,) = found.levels
    assert level.after - level.before == pytest.approx(-0.05, abs=0.01)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_what_crept_in_before_a_step_is_still_found_after_it(sign):
    """3 % in 40 minutes, and in the middle a step of 4 % the other way."""
    n = 24_000
    creep = sign * 0.03 * np.arange(n) / n
    _, found = watched(creep + np.where(np.arange(n) < n // 2, 0.0, -sign * 0.04))
    slow = [step for step in found.steps if not step.adaptive]
    assert slow
    assert slow[0].down == (sign < 0)
    assert slow[0].at > n // 2
    assert TUNING.allowance < 0.03
