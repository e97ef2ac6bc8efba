"""Frequency from edge times."""

import numpy as np
import pytest

from host.pipeline.clock import ClockScale
from host.pipeline.counts import CountUnwrapper
from host.pipeline.pulses import PulseTimer
from tests.host.pipeline.made import made_frames, steady

STOP_US = 270_000


def timed(frames):
    counts = CountUnwrapper().push(frames, [])
    return PulseTimer(STOP_US).push(counts, counts.flow)


@pytest.mark.parametrize("hz", [3.7, 7.3, 15.1, 33.3, 999.0])
def test_a_steady_frequency_has_no_counting_steps(hz):
    stop = 4e6 / hz
    counts = CountUnwrapper().push(steady(600, flow_hz=hz), [])
    found = PulseTimer(stop).push(counts, counts.flow).frequency_hz[20:]
    # Edges are reported in whole microseconds; a frame's worth of counting would be off by up to 10 Hz.
    np.testing.assert_allclose(found, hz, rtol=2e-6 * hz + 1e-5)


def test_it_falls_to_zero_when_the_pulses_stop_and_no_later_than_the_stop_time():
    hz = np.full(100, 20.0)
    hz[50:] = 0.0
    found = timed(made_frames(hz, hz, np.ones(100, bool)))
    assert found.frequency_hz[49] == pytest.approx(20.0)
    after = found.frequency_hz[50:]
    idle_s = found.idle_us[50:] * 1e-6
    assert (np.diff(after) <= 0).all()
    assert (after[idle_s > STOP_US * 1e-6] == 0).all()
    assert (after[idle_s < STOP_US * 1e-6] <= 1 / idle_s[idle_s < STOP_US * 1e-6] + 1e-9).all()


def test_the_first_edges_after_a_pause_do_not_count_the_pause():
    hz = np.full(200, 40.0)
    hz[50:100] = 0.0
    found = timed(made_frames(hz, hz, np.ones(200, bool)))
    assert 25.0 < found.frequency_hz[100] < 60.0
    assert found.frequency_hz[101] == pytest.approx(40.0, rel=1e-4)


def test_totals_carried_on_between_edges_follow_the_flow():
    hz = np.full(300, 7.3)  # less than one edge a frame
    found = timed(made_frames(hz, hz, np.ones(300, bool)))
    growth = np.diff(found.total[20:])
    np.testing.assert_allclose(growth, 0.73, atol=1e-3)


@pytest.mark.parametrize("error", [-0.005, 0.0, 0.003])
def test_the_boards_clock_error_is_found(error):
    frames = steady(1200, clock_error=error)
    rng = np.random.default_rng(4)
    frames["host_s"] += rng.exponential(0.004, len(frames))
    frames["host_s"][600] += 0.7  # the computer was busy once
    scale = ClockScale().push(CountUnwrapper().push(frames, []), frames["host_s"])
    assert scale[0] == 1.0
    assert scale[-1] == pytest.approx(1 / (1 + error), abs=2e-5)


def test_a_recording_made_faster_than_real_time_leaves_the_clock_alone():
    frames = steady(1200)
    frames["host_s"] /= 8
    scale = ClockScale().push(CountUnwrapper().push(frames, []), frames["host_s"])
    assert (scale[100:] == 1.0).all()


def test_the_clock_estimate_goes_on_over_a_restart():
    one, two = steady(3000, clock_error=0.004), steady(300, clock_error=0.004, boot=8)
    two["host_s"] += 305.0
    frames = np.concatenate((one, two))
    scale = ClockScale().push(CountUnwrapper().push(frames, []), frames["host_s"])
    assert scale[3005] == pytest.approx(1 / 1.004, abs=1e-5)
