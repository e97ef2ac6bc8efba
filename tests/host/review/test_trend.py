"""Cutting a series into straight stretches."""

import itertools

import numpy as np
import pytest
from scipy import stats

from host.review.trend import LEAST_POINTS, stretches


def residual(x, y):
    return float(np.polyfit(x, y, 1, full=True)[1].sum()) if len(x) > 2 else 0.0


def test_one_line_is_that_of_scipy():
    rng = np.random.default_rng(1)
    x = np.sort(rng.uniform(0, 100, 30))
    y = 0.02 * x + rng.normal(0, 0.1, 30)
    expected = stats.linregress(x, y)
    found = stretches(x, y)
    assert len(found) == 1
    assert found[0].slope == pytest.approx(expected.slope)
    assert found[0].slope_u == pytest.approx(expected.stderr)
    at_zero = found[0].begin - found[0].slope * x[0]
    assert at_zero == pytest.approx(expected.intercept)


def test_the_cut_is_the_best_of_all():
    rng = np.random.default_rng(2)
    x = np.arange(24.0)
    y = np.where(x < 11, 0.0, 0.5) + 0.01 * x + rng.normal(0, 0.05, 24)
    found = stretches(x, y)
    cuts = range(LEAST_POINTS, 24 - LEAST_POINTS + 1)
    best = min(cuts, key=lambda cut: residual(x[:cut], y[:cut]) + residual(x[cut:], y[cut:]))
    assert [one.first for one in found] == [0, best]
    assert best == 11


@pytest.mark.parametrize("seed", range(4))
def test_noise_alone_is_seldom_cut(seed):
    rng = np.random.default_rng(seed)
    cut = sum(len(stretches(np.arange(60.0), rng.normal(0, 1, 60))) > 1 for _ in range(25))
    assert cut <= 2


def test_short_and_flat_series():
    assert stretches(np.arange(3.0), np.arange(3.0)) == []
    flat = stretches(np.arange(10.0), np.ones(10))
    assert len(flat) == 1
    assert not flat[0].slopes()


def test_points_are_covered_once():
    rng = np.random.default_rng(4)
    y = np.concatenate([np.zeros(10), np.ones(10), 3 * np.ones(10)]) + rng.normal(0, 0.05, 30)
    found = stretches(np.arange(30.0), y)
    assert [one.first for one in found] == [0, 10, 20]
    assert all(before.last + 1 == after.first for before, after in itertools.pairwise(found))
