"""The coefficient pass by pass on the recording in which a nozzle of four clogs in the third pass."""

from pathlib import Path

import pytest

from host.review.by_pass import ratios_by_pass
from host.review.review import review_run
from host.review.steady import steady_of

RECORDING = next((Path(__file__).parents[3] / "recordings").glob("*.sward"))


def test_the_clog_shows_in_its_passes_and_in_no_other() -> None:
    """One of four equal nozzles shut leaves three quarters of the coefficient (parallel orifices: their sum)."""
    review = review_run(RECORDING, watch_faults=False)
    first = steady_of(review.track, review.passes[:1], review.rig)
    assert first is not None
    found = {one.number: one for one in ratios_by_pass(review, lambda _: first.coefficient)}
    assert list(found) == [one.number for one in review.passes]
    for number in (1, 2, 6, 7):
        assert found[number].ratio == pytest.approx(1.0, abs=0.02)
    for number in (4, 5):
        assert found[number].ratio == pytest.approx(0.75, abs=0.02)
    assert 0.76 < found[3].ratio < 0.98
