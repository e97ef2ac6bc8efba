"""Good sets of plausible keepers are accused 5 of 100 times at the most: outliers, nozzles, wheels."""

import pytest

from tests.bench.accused_keepers import KEEPERS, accused

# A pressure that wanders by half as much again as is assumed is in the table, not promised.
PROMISED = [name for name in KEEPERS if "wander 3%" not in name]


@pytest.mark.parametrize("name", PROMISED)
def test_good_sets_are_seldom_accused(name):
    assert accused(name, 80, 5) <= 5.0
