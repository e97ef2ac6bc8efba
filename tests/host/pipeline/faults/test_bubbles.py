"""What tells a clog from a bubble: the pressure, and whether the fall stays. The numbers are made up for the test."""

import math

import numpy as np
import pytest

from host.pipeline.faults.bubbles import BEFORE_FRAMES, proven
from host.pipeline.faults.pressure_step import PressureStep

FALL = [-0.03, -0.10, -0.16]


def rows(off, log_p):
    n = len(off)
    return np.array([off, np.full(n, 3.0), log_p, np.arange(n) * 0.1])


def fall(pressure_moves):
    off = [0.0] * BEFORE_FRAMES + FALL
    return rows(off, [12.0] * BEFORE_FRAMES + [12.0 + pressure_moves] * len(FALL))


def left(pressure_moves):
    return proven(fall(pressure_moves), len(FALL), 60.0, -0.2, 0.01)


def test_a_fall_with_rising_pressure_needs_no_more_proof():
    assert left(0.03) == 60.0


def test_the_lower_the_pressure_the_more_proof_is_asked():
    assert left(0.03) > left(0.0) > left(-0.03) > left(-0.06)
    assert left(-0.06) < 0


def test_a_gap_before_it_leaves_the_pressure_unknown():
    broken = fall(0.03)
    broken[3, :BEFORE_FRAMES] -= 10.0
    assert left(0.0) > proven(broken, len(FALL), 60.0, -0.2, 0.01) > left(-0.03)


def test_a_fall_that_is_over_is_none():
    over = rows([0.0] * BEFORE_FRAMES + [-0.1] * 3 + [0.0] * 5, [12.0] * (BEFORE_FRAMES + 8))
    assert proven(over, 8, 60.0, -0.2, 0.01) == -math.inf


def test_two_frames_do_not_carry_a_long_fall():
    even = rows([0.0] * BEFORE_FRAMES + [-0.02] * 12, [12.03] * (BEFORE_FRAMES + 12))
    uneven = rows([0.0] * BEFORE_FRAMES + [0.0, 0.0, -0.12, 0.0, 0.0, 0.0] * 2, [12.03] * (BEFORE_FRAMES + 12))
    assert proven(even, 12, 60.0, -0.2, 0.01) > 50.0
    assert proven(uneven, 12, 60.0, -0.2, 0.01) < 10.0


def test_a_step_of_the_pressure_is_measured_against_its_own_wandering():
    rng = np.random.default_rng(1)
    wandering = 12.0 + np.cumsum(rng.normal(0.0, 0.003, 600))
    time_s = np.arange(600) * 0.1
    stepped = wandering + np.where(np.arange(600) >= 580, 0.08, 0.0)
    moved, sd = PressureStep(stepped, time_s, 20).moved
    assert moved == pytest.approx(0.08, abs=3 * sd)
    # Eleven steps of a random walk against eleven, two left out between: each increment weighs 1/11 to 10/11 in the
    # two windows and 1 three times between them, and the weights' squares add up (variance of a sum).
    weights = 2 * sum((k / 11) ** 2 for k in range(1, 11)) + 3
    assert sd == pytest.approx(0.003 * math.sqrt(weights), rel=0.4)


def test_far_apart_the_pressure_says_less():
    rng = np.random.default_rng(2)
    log_p = 12.0 + rng.normal(0.0, 0.01, 400)
    near = np.arange(400) * 0.1
    far = near + np.where(np.arange(400) >= 380, 20.0, 0.0)
    assert PressureStep(log_p, far, 20).moved[1] > 3 * PressureStep(log_p, near, 20).moved[1]
