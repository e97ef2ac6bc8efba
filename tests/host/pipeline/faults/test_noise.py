"""Noise is the same in seconds, however far apart the reports come. Made for the test: a first-order autoregression
with a time constant of 0.1 s, as a rotor's lag makes one, read every 20, 40 and 100 ms."""

import numpy as np
import pytest
from scipy.signal import lfilter

from host.pipeline.faults.noise import Noise
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING


def said_of_a_second(interval_s):
    """Standard deviation of the mean of a second, as the noise is given after five minutes."""
    keep, step_s = np.exp(-0.02 / 0.1), 0.02
    shocks = np.random.default_rng(3).normal(0.0, 0.01 * np.sqrt(1.0 - keep**2), round(300 / step_s))
    log_c = lfilter([1.0], [1.0, -keep], shocks).reshape(-1, round(interval_s / step_s)).mean(axis=1)
    sigma, _ = Noise(Timing(interval_s)).push(log_c)
    frames = 1.0 / interval_s
    return np.sqrt(sigma.white[-1] ** 2 / frames + sigma.edge[-1] ** 2 / frames**2)


@pytest.mark.parametrize("interval_s", [0.02, 0.04])
def test_a_second_is_as_noisy_in_quick_reports_as_in_slow_ones(interval_s):
    assert said_of_a_second(interval_s) == pytest.approx(said_of_a_second(0.1), rel=0.25)


@pytest.mark.parametrize("interval_s", [0.005, 0.019, 0.021, 0.03, 0.035, 0.048, 0.096, 0.3, 1.0])
def test_noise_is_learned_anew_from_the_poles_frames_at_any_interval(interval_s):
    timing = Timing(interval_s)
    noise = Noise(timing)
    noise.relearn(np.random.default_rng(4).normal(0.0, 0.01, timing.frames(TUNING.pole_frames)))
    sigma, _ = noise.push(np.zeros(1))
    assert sigma.one[0] == pytest.approx(0.01, rel=0.3)
