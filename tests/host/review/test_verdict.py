"""A run is judged by its ground, not by its mean."""

import pytest

from host.review.verdict import Verdict


@pytest.mark.parametrize(
    ("verdict", "message"),
    [
        (Verdict(0.94, 0.03, 0.03, 0.0, 0, 0), "On target on 94 % of the ground."),
        (Verdict(0.50, 0.20, 0.30, 0.0, 2, 3), "Half of the ground was off target: 2 passes heavy, 3 light."),
        (Verdict(0.31, 0.69, 0.0, 0.0, 1, 0), "69 % of the ground was off target: 1 pass heavy."),
        (Verdict(0.60, 0.0, 0.40, 0.0, 0, 0), "40 % of the ground was off target."),
        (Verdict(0.72, 0.0, 0.0, 0.28, 0, 0), "On target on 72 % of the ground. What 28 % of it got is not known."),
    ],
)
def test_the_sentence(verdict, message):
    assert verdict.message == message


def test_ground_that_is_not_known_is_not_good():
    assert not Verdict(0.72, 0.0, 0.0, 0.28, 0, 0).good
    assert Verdict(0.90, 0.05, 0.05, 0.0, 0, 0).good
