"""A run beyond the flows and pressures of its calibrations says so; a run within them does not."""

from dataclasses import replace

import pytest

from host.review.beyond import beyond_calibration, pressure_against_flow
from host.review.review import review_run
from tests.host.review.test_by_pass import RECORDING


@pytest.fixture(scope="module")
def review():
    return review_run(RECORDING, watch_faults=False)


def flow_hz(review):
    a_pass = review.passes[0]
    return a_pass.volume_m3 / a_pass.spraying_s * review.rig.meter.curve[0][1]


@pytest.mark.parametrize(
    ("low", "high", "says"),
    [(0.9, 1.1, ""), (0.4, 1 / 1.6, "% above the highest catch"), (2.0, 3.0, "% below the lowest catch")],
)
def test_flow(review, low, high, says):
    hz = flow_hz(review)
    meter = replace(review.rig.meter, caught_hz=(low * hz, high * hz))
    said = beyond_calibration(replace(review.rig, meter=meter), review.passes[:1])
    assert len(said) == bool(says) and says in " ".join(said)


def test_pressure(review):
    at = review.passes[0].pressure_pa
    for highest, count in ((at / 1.5, 1), (at, 0), (None, 0)):
        rig = replace(review.rig, pressure=replace(review.rig.pressure, highest_pa=highest))
        said = beyond_calibration(rig, review.passes[:1])
        assert len(said) == count and all("50 % above the highest" in one for one in said)


def test_nothing_sprayed_says_nothing(review):
    assert beyond_calibration(review.rig, []) == []


@pytest.mark.parametrize(("times", "says"), [(1.0, ""), (2.0, ""), (6.0, "6 times what"), (0.25, "25 % of what")])
def test_a_pressure_that_the_flow_contradicts_is_said(review, times, says):
    nozzles = review.rig.nozzles
    right = [
        replace(one, volume_m3=one.spraying_s * nozzles.count * float(nozzles.flow_m3_s(one.pressure_pa)))
        for one in review.passes[:3]
    ]
    assert pressure_against_flow(review.rig, right) == ""
    said = pressure_against_flow(review.rig, [replace(one, volume_m3=one.volume_m3 / times**0.5) for one in right])
    assert says in said and bool(said) == bool(says)
