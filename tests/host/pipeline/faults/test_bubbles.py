"""What tells a clog from a bubble: the pressure, and whether the fall stays. The numbers are made up for the test."""

import math

import numpy as np

from host.pipeline.faults.bubbles import BEFORE_FRAMES, proven

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
