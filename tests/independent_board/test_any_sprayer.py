"""Whatever the sprayer, the board and the mishap, what is stated as known is known as well as it says."""

import numpy as np
import pytest

from tests.independent_board.any_sprayer import drawn

SEEDS = range(60)


@pytest.fixture(scope="module")
def found():
    return [one for one in map(drawn, SEEDS) if one is not None]


def test_all_that_flowed_is_on_known_ground_or_stood_or_is_apart(found):
    assert len(found) > 0.9 * len(SEEDS)
    for one in found:
        totals = one.review.totals
        whole = totals.ground_m3 + totals.standing_m3 + totals.unassigned_m3
        assert whole == pytest.approx(totals.volume_m3, rel=1e-9), one.seed


@pytest.mark.parametrize(("what", "column"), [("rate", 0), ("area", 1), ("volume", 2)])
def test_the_stated_band_holds_the_truth(found, what, column):
    """95 of 100 for two standard uncertainties (GUM 6.2.1, G.6.6): of 60, eight outside have a chance of 1 in 100."""
    off = np.abs([one.off[column] for one in found])
    outside = [one.seed for one, far in zip(found, off, strict=True) if far > 2]
    assert len(outside) < 8, (what, outside)
    assert off.max() < 4, (what, int(np.argmax(off)))
