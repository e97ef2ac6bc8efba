"""Good sets of plausible keepers are accused 5 of 100 times at the most: outliers, nozzles, wheels."""

import pytest

from tests.bench.accused_keepers import KEEPERS, accused

# A pressure that wanders by half as much again as is assumed is at the limit itself.
PROMISED = [name for name in KEEPERS if "wander 3%" not in name]


@pytest.mark.parametrize("name", PROMISED)
def test_good_sets_are_seldom_accused(name):
    assert accused(name, 80, 5) <= 5.0


def test_a_pressure_that_wanders_more_than_assumed_accuses_hardly_more():
    """5 of 100, and what chance adds to 300 draws (three standard errors of 1.3); without the pooling it was 8."""
    assert accused("a nozzle, by the gauge, wander 3%", 300, 5) <= 5.0 + 3 * 1.3
