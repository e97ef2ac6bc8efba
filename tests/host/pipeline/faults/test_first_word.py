"""A first word is taken back when it was a dip or the end of a pass, and stays when it was a clog. Made for the test:
a first-order lag, as a rotor has (common practice), every tenth of a second."""

import numpy as np
import pytest

from host.pipeline.faults.first_word import FirstWord, still_there

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
