"""A first word is taken back when it was a dip or the end of a pass, and stays when it was a clog. Made for the test:
a first-order lag, as a rotor has (common practice), every tenth of a second."""

import numpy as np
import pytest

from host.pipeline.faults.first_word import FirstWord, still_there
from host.pipeline.faults.timing import Timing

TIME_S = 0.05 + 0.1 * np.arange(1, 25)


def answers(c, nozzles=3, noise=0.004):
    """What is said of the flow `c` (1 before), frame by frame from the third on."""
    off = -np.log(c) + np.random.default_rng(1).normal(0.0, noise, len(c))
    return [
        still_there(FirstWord(off[:n], TIME_S[:n], True, noise), 0.0, float(TIME_S[1]), nozzles)
        for n in range(2, len(c) + 1)
    ]


def first(said):
    """The first answer that is one, and when (s)."""
    return next(((one, TIME_S[n + 1]) for n, one in enumerate(said) if one is not None), (None, np.inf))


@pytest.mark.parametrize("lag_s", [0.15, 0.22, 0.35])
@pytest.mark.parametrize(("share", "within_s"), [(1 / 3, 1.1), (1 / 6, 1.1), (1 / 12, 1.3), (1 / 30, 1.7)])
def test_a_clog_stays(lag_s, share, within_s):
    stays, after_s = first(answers(1.0 - share * (1.0 - np.exp(-TIME_S / lag_s))))
    assert stays is True
    assert 0.5 < after_s <= within_s


@pytest.mark.parametrize("lasts_s", [0.05, 0.15, 0.3])
@pytest.mark.parametrize("depth", [0.2, 0.6])
def test_a_dip_is_taken_back(lasts_s, depth):
    lag_s = 0.22
    in_it = 1.0 - np.exp(-np.minimum(TIME_S, lasts_s) / lag_s)
    left = in_it * np.exp(-np.maximum(TIME_S - lasts_s, 0.0) / lag_s)
    stays, _ = first(answers(1.0 - depth * left))
    assert stays is False


@pytest.mark.parametrize("lag_s", [0.15, 0.3, 0.45])
def test_a_rotor_running_down_is_not_called_before_it_has_stopped(lag_s):
    for_s = TIME_S < 1.3
    said = answers(np.exp(-TIME_S[for_s] / lag_s))
    assert True not in said


@pytest.mark.parametrize("lag_s", [0.15, 0.3, 0.45])
@pytest.mark.parametrize("later_s", [0.4, 0.5, 0.6])
def test_a_pass_that_ends_just_after_a_jolt_is_not_called(lag_s, later_s):
    jolt = np.where(TIME_S < 0.2, 0.03, 0.0)  # by which the word was said
    for noise in (0.002, 0.004):
        c = (1.0 - jolt) * np.exp(-np.maximum(TIME_S - later_s, 0.0) / lag_s)
        assert True not in answers(c[later_s + 1.3 > TIME_S], nozzles=8, noise=noise)


def test_in_reports_a_second_apart_a_hand_off_the_trigger_is_taken_back():
    off, time_s = np.array([0.0, 0.19, 0.17, *[0.0] * 7]), np.arange(10.0) + 1.0
    words = [FirstWord(off[:n], time_s[:n], True, 0.003, Timing(1.0)) for n in range(2, 11)]
    stays, _ = first([still_there(word, 0.0, 2.0, 5) for word in words])
    assert stays is False


@pytest.mark.parametrize("seed", range(20))
def test_a_tenth_of_one_of_eight_nozzles_is_not_taken_back_because_the_walk_shakes_it(seed):
    rng = np.random.default_rng(seed)
    time_s = 0.1 * np.arange(1, 31)
    shaken = 0.008 * np.sin(2 * np.pi * 1.8 * time_s + rng.uniform(0, 6)) + rng.normal(0.0, 0.006, 30)
    off = 0.0125 * (1.0 - np.exp(-time_s / 0.22)) + shaken
    off[:5] += 0.01  # it was noticed because chance helped
    words = [FirstWord(off[:n], time_s[:n], True, 0.008) for n in range(5, 31)]
    assert next(said for said in (still_there(word, 0.0, 0.5, 8) for word in words) if said is not None)


@pytest.mark.parametrize(("nozzles", "share", "stays"), [(3, 0.012, False), (3, 0.033, True), (8, 0.0125, True)])
def test_less_than_a_twentieth_of_a_nozzle_is_the_regulator(nozzles, share, stays):
    """At 50 reports a second the noise averages out so far that a wander of 1 % stands out of it."""
    time_s = 0.02 * np.arange(1, 121)
    off = share * (1.0 - np.exp(-time_s / 0.22)) + np.random.default_rng(2).normal(0.0, 0.004, len(time_s))
    words = [FirstWord(off[:n], time_s[:n], True, 0.004, Timing(0.02)) for n in range(2, len(time_s) + 1)]
    said = [still_there(word, 0.0, 0.1, nozzles) for word in words]
    assert next((one for one in said if one is not None), None) is stays


def said_of(off, time_s, called_s, even, nozzles):
    """What is said of ln c that has fallen by `off`, frame by frame from the second on."""
    return [
        still_there(FirstWord(off[:n], time_s[:n], True, even), 0.0, called_s, nozzles) for n in range(2, len(off) + 1)
    ]


def test_a_hand_off_the_trigger_that_the_switch_does_not_show_is_taken_back():
    # The frames between are missing: a rotor that spins up seems to have gained pulses.
    down = [0.0, 0.0, -0.02, 0.02, 0.25, 0.54, 0.82, 1.07, 1.31, 1.53, 1.74, 1.91, 2.06, 2.25, 2.4]
    off = np.array([*down, 0.42, 0.3, 0.2, 0.14, 0.11, 0.06, 0.02, 0.013, 0.0, 0.004, -0.007, *[0.002] * 10])
    said = said_of(off, 0.1 * np.array([*range(1, 16), *range(19, 40)]), 0.5, 0.005, 5)
    assert True not in said
    assert False in said


def test_reports_that_led_to_the_word_do_not_confirm_it():
    time_s = 0.1 * np.arange(1, 17)
    chance = np.array([0.014] * 5 + [0.0] * 8 + [0.014] * 3)  # 0.03 nozzles' worth since the word
    assert first(said_of(chance, time_s, 0.5, 0.02, 8))[0] is False
    assert first(said_of(np.full(16, 0.014), time_s, 0.5, 0.02, 8))[0] is True


def test_a_rotor_whose_lag_grows_as_it_slows_is_waited_for():
    speed, speeds = 1.0, []  # dω/dt = -ω^(1+g)/τ: the lag is τ = 0.5 s at full flow and grows with ω^-g, g = 0.5
    for _ in range(480):
        speed -= speed**1.5 / 0.5 * 0.01
        speeds.append(speed)
    assert True not in said_of(-np.log(speeds[9::10]), 0.1 * np.arange(1, 49), 0.3, 0.005, 8)
