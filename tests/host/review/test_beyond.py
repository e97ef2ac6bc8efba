"""A run beyond the flows and pressures of its calibrations says so; a run within them does not."""

from dataclasses import replace

import numpy as np
import pytest

from host.pipeline import Fault, Unassigned, Why
from host.review.beyond import beyond_calibration, pressure_against_flow
from host.review.review import review_run
from host.review.track import Track
from tests.host.review.test_by_pass import RECORDING


@pytest.fixture(scope="module")
def review():
    return review_run(RECORDING, watch_faults=False)


def fault(kind, began_s):
    return [Fault(1, kind, (), 0.9, began_s, began_s + 3, None, None, None, None, None, 10.0, True)]


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


def sprayed(review, times, seconds=60, wheel_until_s=60.0):
    """A report each 0.2 s, with a turn; the pressure of each row reads `times` what its flow needs."""
    host_s = np.arange(1, seconds * 5 + 1) / 5
    spraying = (host_s > 2.0) & ~((host_s > 25.0) & (host_s < 30.0))
    nozzles, pressure = review.rig.nozzles, np.full(len(host_s), 250_000.0)
    flow = np.where(spraying, nozzles.count * nozzles.flow_m3_s(pressure / times), 0.0)
    moving = host_s < wheel_until_s
    nothing = np.zeros(len(host_s))
    return Track(host_s, host_s, np.minimum(host_s, wheel_until_s), flow, pressure, spraying, moving, *[nothing] * 4)


@pytest.mark.parametrize(("times", "says"), [(1.0, ""), (2.0, ""), (6.0, "6 times what"), (0.25, "25 % of what")])
@pytest.mark.parametrize("wheel_until_s", [60.0, 12.0])
def test_a_pressure_that_the_flow_contradicts_is_said_whatever_the_wheel_does(review, times, says, wheel_until_s):
    track = sprayed(review, np.full(300, times), wheel_until_s=wheel_until_s)
    stuck = fault("wheel_stuck", 12.0) if wheel_until_s < 60 else ()
    said = pressure_against_flow(review.rig, track, stuck, ())
    assert says in said and bool(said) == bool(says)


@pytest.mark.parametrize("kind", ["lost_tip", "meter_stuck", "supply_short", "transducer_open"])
def test_what_a_fault_explains_is_no_contradiction(review, kind):
    lost_at_4_s = np.where(np.arange(1, 301) / 5 > 4.0, 0.25, 1.0)
    assert "25 %" in pressure_against_flow(review.rig, sprayed(review, lost_at_4_s), (), ())
    assert pressure_against_flow(review.rig, sprayed(review, lost_at_4_s), fault(kind, 4.0), ()) == ""
    # A wrong setting stays one, whatever breaks later.
    assert "6 times" in pressure_against_flow(review.rig, sprayed(review, np.full(300, 6.0)), fault(kind, 40.0), ())


def test_what_fits_for_a_part_of_the_run_is_no_wrong_setting(review):
    lost_half_way = np.where(np.arange(300) > 60, 0.25, 1.0)
    assert pressure_against_flow(review.rig, sprayed(review, lost_half_way), (), ()) == ""


@pytest.mark.parametrize(("why", "said"), [(Why.BOUNCES, False), (Why.REFUSED, False), (Why.NO_WHEEL, True)])
def test_pulses_that_mean_nothing_contradict_nothing(review, why, said):
    unassigned = [Unassigned(why, 0.0, 60.0, 0.01, 50.0, 60.0)]
    assert bool(pressure_against_flow(review.rig, sprayed(review, np.full(300, 0.2)), (), unassigned)) == said
