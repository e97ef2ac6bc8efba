"""The budget as cards and pages have it, and who is the odd one of several repeats."""

import math
import statistics

import pytest
from scipy import stats

from host.calibrate.budget import budget_measured
from host.calibrate.odd_one import FALSE_RATE, odd_one_out
from host.calibrate.uncertainty import Component, combine, pooled

PARTS = (Component("repeatability", 0.01, 4.0), Component("scale of the jug", 0.02, shared="jug A: scale"))


def test_a_card_has_the_budget_in_percent():
    """GUM 5.1.2: the standard uncertainties of parts add up in squares."""
    combined = combine(PARTS)
    measured = budget_measured(combined)
    assert measured["standard_percent"] == pytest.approx(100 * math.hypot(0.01, 0.02))
    assert measured["expanded_percent"] == pytest.approx(measured["coverage_factor"] * measured["standard_percent"])
    assert measured["components_percent"] == pytest.approx({"repeatability": 1.0, "scale of the jug": 2.0})
    assert measured["shared"] == [{"error": "jug A: scale", "percent": 2.0, "even": False}]


def test_or_in_another_unit():
    """1 kPa is 1000 Pa: SI prefixes."""
    measured = budget_measured(combine([Component("zero", 700.0)]), "kPa", 1e-3)
    assert (measured["standard_kPa"], measured["components_kPa"]) == (0.7, {"zero": 0.7})


@pytest.mark.parametrize("apart", [0.98, 1.02])
def test_the_odd_one_lies_beyond_what_student_gives_the_rest(apart):
    """Prediction interval of one more value, s √(1 + 1/n) t: NIST/SEMATECH e-Handbook 7.2.4; t by SciPy."""
    rest = [-0.01, 0.012, 0.004, -0.006]
    # Nothing assumed that would count: an assumed scatter of zero has no weight only if the rest is pooled with it.
    spread, degrees = pooled(statistics.stdev(rest), len(rest) - 1, 0.01)
    t = stats.t.ppf(1 - FALSE_RATE / 5 / 2, degrees)
    limit = t * spread * math.sqrt(1 + 1 / len(rest))
    values = [*rest, statistics.fmean(rest) + apart * limit]
    odd = odd_one_out(values, [0.0] * 5, 0.01, [0.0] * 5, 5)
    assert odd == (4 if apart > 1 else None)
