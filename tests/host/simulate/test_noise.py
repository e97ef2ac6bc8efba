"""Lags and random processes against their definitions."""

import numpy as np
import pytest

from host.simulate.noise import Lag, Resonance, recursion, wander


@pytest.mark.parametrize("keep", [0.0, 0.3, 0.98, 0.2 + 0.9j])
def test_recursion_is_the_loop_that_defines_it(keep: complex) -> None:
    values = np.random.default_rng(1).standard_normal(257).astype(np.complex128)
    expected, last = [], 2.0 - 1.0j
    for value in values:
        last = value + keep * last
        expected.append(last)
    assert recursion(values, keep, 2.0 - 1.0j) == pytest.approx(np.array(expected), rel=1e-12)


def test_lag_goes_63_percent_of_a_step_in_its_time_constant_and_keeps_the_sum() -> None:
    """1 - 1/e after one time constant: first-order step response, any textbook on control."""
    lag = Lag(0.22, 0.005)
    answer = lag(np.ones(4000))
    assert answer[43] == pytest.approx(1 - np.exp(-1), abs=0.01)
    pulse = np.concatenate([np.ones(100), np.zeros(3000)])
    assert Lag(0.22, 0.005)(pulse).sum() == pytest.approx(100.0)


def test_lag_goes_on_from_block_to_block() -> None:
    values = np.random.default_rng(2).standard_normal(300)
    whole, cut = Lag(0.1, 0.01), Lag(0.1, 0.01)
    assert whole(values) == pytest.approx(np.concatenate([cut(values[:7]), cut(values[7:200]), cut(values[200:])]))


def test_resonance_keeps_the_spread_and_peaks_at_its_frequency() -> None:
    noise = np.random.default_rng(3).standard_normal(200_000)
    answer = Resonance(1.8, 0.15, 0.005)(noise)
    assert answer.std() == pytest.approx(1.0, rel=0.05)
    power = np.abs(np.fft.rfft(answer.reshape(50, -1))) ** 2
    frequency = np.fft.rfftfreq(4000, 0.005)
    assert frequency[power.mean(axis=0).argmax()] == pytest.approx(1.8, abs=0.25)


def test_wander_has_its_spread_and_forgets_in_its_time_constant() -> None:
    """Autocorrelation exp(-lag / time constant): Uhlenbeck and Ornstein, 1930."""
    walk = wander(np.random.default_rng(4), 400_000, 1.0, 50.0, 0.3)
    assert walk.std() == pytest.approx(0.3, rel=0.05)
    assert np.corrcoef(walk[:-50], walk[50:])[0, 1] == pytest.approx(np.exp(-1), abs=0.05)
