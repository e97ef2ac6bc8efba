"""When the boom changed, and what the pressure did just then. The numbers are made up for the test."""

import math

import numpy as np
import pytest

from host.pipeline.faults.pressure_step import last_before, pressure_step, usual_sd

TIME_S = np.arange(600) * 0.1


def wandering(seed, step):
    return 12.0 + np.cumsum(np.random.default_rng(seed).normal(0.0, step, 600))


def test_a_step_of_the_pressure_is_measured_against_its_own_wandering():
    log_p = wandering(1, 0.003) + np.where(np.arange(600) >= 580, 0.08, 0.0)
    moved, sd = pressure_step(log_p, TIME_S, 579)
    assert moved == pytest.approx(0.08, abs=3 * sd)
    # Eleven steps of a random walk against eleven, two left out between: each increment weighs 1/11 to 10/11 in the
    # two windows and 1 three times between them, and the weights' squares add up (variance of a sum).
    weights = 2 * sum((k / 11) ** 2 for k in range(1, 11)) + 3
    assert sd == pytest.approx(0.003 * math.sqrt(weights), rel=0.4)


def test_what_it_would_move_by_itself_is_what_it_does_move_by_itself():
    off = [moved / sd for moved, sd in (pressure_step(wandering(seed, 0.003), TIME_S, 570) for seed in range(300))]
    # Standard deviation of 300 standard normal numbers: 1 within 1/√600, and as much for the scatter of each `sd`.
    assert np.std(off) == pytest.approx(1.0, abs=4 * math.sqrt(2) / math.sqrt(600))


def test_far_apart_the_pressure_says_less():
    log_p = 12.0 + np.random.default_rng(2).normal(0.0, 0.01, 400)
    near = np.arange(400) * 0.1
    far = near + np.where(np.arange(400) >= 380, 20.0, 0.0)
    assert pressure_step(log_p, far, 379)[1] > 3 * pressure_step(log_p, near, 379)[1]
    assert usual_sd(log_p, near, 4 * 1.3) == pytest.approx(2 * usual_sd(log_p, near, 1.3))


@pytest.mark.parametrize("lag_s", [0.15, 0.22, 0.30])
def test_the_onset_is_found_behind_the_rotors_lag(lag_s):
    rng = np.random.default_rng(3)
    time_s = np.arange(60) * 0.1
    for began_s in (2.02, 3.05, 3.48):
        seen = -0.2 * (1.0 - np.exp(-np.maximum(time_s - 0.05 - began_s, 0.0) / lag_s))  # a first-order lag's answer
        log_c = seen + rng.normal(0.0, 0.005, 60)
        log_c[50] = 0.3  # one spoilt frame must not move it
        found = time_s[last_before(log_c, time_s, 0.0, -0.2, 5)]
        assert found == pytest.approx(began_s, abs=0.2)


def test_nothing_is_an_onset_of_which_no_more_has_been_seen_than_asked_for():
    log_c = np.where(np.arange(60) >= 57, -0.2, 0.0)
    assert last_before(log_c, np.arange(60) * 0.1, 0.0, -0.2, 20) <= 39
