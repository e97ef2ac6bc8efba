"""Boards report every 20 to 1000 ms: the same times are meant on all of them, and what comes before they are known is
left out."""

import itertools
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.pipeline import Pipeline
from host.pipeline.faults.timing import USUAL, ReportInterval, Timing
from host.pipeline.faults.tuning import TUNING
from host.simulate.disturbances import Disturbance
from host.simulate.settings import BoardSettings, WalkSettings
from tests.host.pipeline.made import IDENTITY
from tests.host.simulate.made import frames_of, one_pass
from tests.host.simulate.random_rigs import small_rig


def counts(step_us, lost=0):
    step_us = np.array(step_us)
    broken = np.arange(len(step_us)) == 0
    return SimpleNamespace(step_us=step_us, broken=broken, lost=np.full(len(step_us), lost))


@pytest.mark.parametrize("interval_s", [0.02, 0.05, 0.1, 0.2, 0.5, 1.0])
def test_windows_reach_a_minute_back_at_every_interval_and_never_are_fewer_than_a_few_reports(interval_s):
    timing = Timing(interval_s)
    assert timing.windows[-1] * interval_s == pytest.approx(60.0, rel=0.2)
    assert len(timing.windows) >= 10
    assert timing.frames((2.0, 8)) == max(round(2.0 / interval_s), 8)
    assert timing.noise_block % TUNING.noise_span == 0


def test_the_interval_is_the_median_of_the_first_steps_without_the_boards_jitter():
    steps = [0, 50_300, 49_800, 250_000, 50_100, 49_900, 50_000]
    ((place, timing),) = ReportInterval().push(counts(steps))
    assert (place, timing.interval_s) == (5, 0.05)


def test_cut_anywhere_it_is_known_from_the_same_report_on():
    steps = [0, *[100_400] * 8]
    for cut in range(1, 6):
        interval = ReportInterval()
        assert interval.push(counts(steps[:cut])) == []
        rest = counts(steps[cut:])
        rest.broken[:] = False
        ((place, timing),) = interval.push(rest)
        assert (cut + place, timing) == (5, USUAL)


def changes(steps, cuts=()):
    """Place and interval of each that was found, with the steps cut up."""
    interval, found = ReportInterval(), []
    for start, end in itertools.pairwise([0, *cuts, len(steps)]):
        part = counts(steps[start:end])
        part.broken[:] = np.arange(start, end) == 0
        found += [(start + place, timing.interval_s) for place, timing in interval.push(part)]
    return found


FIRST, ASKED = [0, *[100_000] * 8], [50_000] * 40


def test_a_board_that_is_asked_for_50_ms_after_its_first_reports_is_followed_at_50_ms():
    assert changes(FIRST + ASKED) == [(5, 0.1), (8 + TUNING.new_interval_steps, 0.05)]


def test_a_restarted_board_that_goes_by_itself_for_a_moment_changes_nothing():
    steps = FIRST + ASKED + [100_000] * (TUNING.new_interval_steps - 1) + ASKED
    assert [interval for _, interval in changes(steps)] == [0.1, 0.05]


def test_one_that_stays_at_its_own_interval_is_followed_at_that():
    steps = FIRST + ASKED + [100_000] * 40 + ASKED
    assert [interval for _, interval in changes(steps)] == [0.1, 0.05, 0.1, 0.05]


def test_steps_that_keep_to_no_interval_are_none():
    assert [interval for _, interval in changes(FIRST + [30_000, 50_000, 150_000] * 40)] == [0.1]


@given(data=st.data())
def test_a_change_is_found_at_the_same_report_however_the_reports_are_cut(data):
    block = st.tuples(st.sampled_from([50_000, 100_000, 250_000]), st.integers(1, 60))
    steps = [0] + [step for step, n in data.draw(st.lists(block, min_size=1, max_size=5)) for _ in range(n)]
    cuts = sorted(data.draw(st.sets(st.integers(1, max(len(steps) - 1, 1)), max_size=6)))
    assert changes(steps, cuts) == changes(steps)


@pytest.mark.parametrize("interval_ms", [20, 50, 250, 1000])
def test_a_clog_is_called_at_every_interval(interval_ms):
    walk = WalkSettings(passes=3, length_m=80.0, pace_m_s=1.2, start_after_s=1.0)
    board = BoardSettings(interval_ms=interval_ms)
    run = one_pass(
        Disturbance("clog", 40.0), seconds=60.0, quiet=False, rig=small_rig(3, 0.3, 450), walk=walk, board=board
    )
    pipeline = Pipeline(run.rig)
    pipeline.push(frames_of(run)[0], [IDENTITY])
    (fault,) = pipeline.faults()
    assert fault.kind in ("clog", "meter_low")
    assert -0.1 < fault.called_s - 40.0 < 0.5 + 2.5e-3 * interval_ms


@pytest.mark.parametrize("begins_ms", [100, 1000])
def test_a_clog_after_a_change_of_interval_is_called_as_if_it_had_been_so_from_the_start(begins_ms):
    """The same sprayer, whose board begins at an interval of its own and is asked for 50 ms after its first reports."""
    walk = WalkSettings(passes=3, length_m=80.0, pace_m_s=1.2, start_after_s=12.0)
    board = BoardSettings(interval_ms=50)
    run = one_pass(
        Disturbance("clog", 45.0), seconds=60.0, quiet=False, rig=small_rig(3, 0.3, 450), walk=walk, board=board
    )
    frames = frames_of(run)[0]
    early = np.flatnonzero(frames["host_s"] < 7.0)
    kept = np.concatenate((early[:: begins_ms // 50], np.arange(len(early), len(frames))))
    changed = frames[kept].copy()
    changed["seq"] = np.arange(len(changed))
    called = []
    for one in (frames, changed):
        pipeline = Pipeline(run.rig)
        signals = pipeline.push(one, [IDENTITY])
        assert signals.lost_frames[-1] == 0
        (fault,) = pipeline.faults()
        called.append((fault.kind, round(fault.called_s, 6), float(signals.volume_m3[-1])))
    assert called[0] == called[1]
