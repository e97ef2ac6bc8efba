"""Boards report every 20 to 1000 ms: the same times are meant on all of them, and what comes before they are known is
left out."""

from types import SimpleNamespace

import numpy as np
import pytest

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
    place, timing = ReportInterval().push(counts(steps))
    assert (place, timing.interval_s) == (5, 0.05)


def test_cut_anywhere_it_is_known_from_the_same_report_on():
    steps = [0, *[100_400] * 8]
    for cut in range(1, 6):
        interval = ReportInterval()
        assert interval.push(counts(steps[:cut])) is None
        rest = counts(steps[cut:])
        rest.broken[:] = False
        place, timing = interval.push(rest)
        assert (cut + place, timing) == (5, USUAL)


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
