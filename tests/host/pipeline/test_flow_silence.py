"""The spray is on, somebody walks, no water is counted: that ground is not left out as if nobody had been there."""

import numpy as np
import pytest

from host.pipeline import Pipeline, Why
from host.review.hidden_ground import Known, hidden_in
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames

GONE, STANDS = 103.0, 327.68  # the transducer's reading without pressure, and as in the passes


def walked(*parts, cut=5, step_s=0.1):
    """Parts of (seconds, flow in Hz, wheel in Hz, whether the spray is on, the transducer's reading)."""
    columns = [np.concatenate([np.full(round(part[0] / step_s), part[of]) for part in parts]) for of in range(1, 5)]
    frames = made_frames(*columns[:2], columns[2].astype(bool), step_s=step_s)
    frames["pressure_mean"] = np.rint(16 * columns[3])
    frames["pressure_min"] = np.rint(columns[3])
    frames["pressure_max"] = frames["pressure_min"] + 1
    pipeline = Pipeline(rig_from_toml(RIG))
    for place in range(0, len(frames), cut):
        pipeline.push(frames[place : place + cut], [] if place else [IDENTITY])
    pipeline.finish()
    return pipeline


PASS, TURN = (20, 40.0, 10.0, True, STANDS), (6, 0.0, 5.0, False, STANDS)
TURN_OFF = (6, 0.0, 0.0, False, STANDS)
DRY = (25, 0.0, 10.0, True, GONE)


@pytest.mark.parametrize("cut", [1, 7, 10_000])
def test_an_empty_tank_leaves_dry_ground_and_not_a_shorter_run(cut):
    pipeline = walked(PASS, DRY, TURN, DRY, TURN, DRY, cut=cut)
    assert {one.why for one in pipeline.unassigned} == {Why.NO_WATER}
    # All of it, from the last water on.
    assert sum(one.distance_m for one in pipeline.unassigned) == pytest.approx(75.0, abs=1.0)
    assert sum(one.volume_m3 for one in pipeline.unassigned) == 0.0
    found = hidden_in(pipeline.unassigned, Known(0.02, 2.0, 2.0))
    assert (found.area_m2, found.uncounted_m3) == (0.0, 0.0)
    assert found.dry_m2 == pytest.approx(150.0, abs=2.0)
    assert len(pipeline.passes) == 1 and pipeline.passes[0].distance_m == pytest.approx(20.0, abs=1.5)


def test_a_meter_that_failed_leaves_ground_and_water_that_nobody_knows():
    pipeline = walked(PASS, (25, 0.0, 10.0, True, STANDS), TURN, (25, 0.0, 10.0, True, STANDS))
    assert {one.why for one in pipeline.unassigned} == {Why.NOT_METERED}
    found = hidden_in(pipeline.unassigned, Known(0.02, 2.0, 2.0, 1e-4))
    assert found.dry_m2 == 0.0 and found.area_m2 == pytest.approx(100.0, abs=2.0)
    assert found.uncounted_m3 == pytest.approx(50.0 * 1e-4, rel=0.02)


@pytest.mark.parametrize("cut", [7, 10_000])
@pytest.mark.parametrize("left_s", [1.5, 4, 8])
def test_a_meter_that_dies_just_before_the_end_of_a_pass_leaves_that_rest_unknown_too(left_s, cut):
    rest, dead = (left_s, 0.0, 10.0, True, STANDS), (25, 0.0, 10.0, True, STANDS)
    pipeline = walked(PASS, PASS, rest, TURN, dead, TURN, dead, TURN, cut=cut)
    assert {one.why for one in pipeline.unassigned} == {Why.NOT_METERED}
    # The pass ends with its last pulse, and not where the meter has been silent for long enough.
    assert pipeline.passes[0].distance_m == pytest.approx(40.0, abs=0.2)
    assert sum(one.distance_m for one in pipeline.unassigned) == pytest.approx(50 + left_s, abs=0.2)


def test_a_tank_that_runs_dry_just_before_the_end_of_a_pass_leaves_that_rest_dry_too():
    pipeline = walked(PASS, (6, 0.0, 10.0, True, GONE), TURN, DRY)
    assert {one.why for one in pipeline.unassigned} == {Why.NO_WATER}
    assert sum(one.distance_m for one in pipeline.unassigned) == pytest.approx(31.0, abs=1.0)


@pytest.mark.parametrize("cut", [7, 10_000])
def test_water_that_comes_back_within_the_next_pass_leaves_no_dry_ground(cut):
    rest, late = (5, 0.0, 10.0, True, STANDS), (2, 0.0, 10.0, True, STANDS)
    pipeline = walked(PASS, rest, TURN, late, PASS, rest, TURN, PASS, cut=cut)
    assert pipeline.unassigned == [] and len(pipeline.passes) == 3


def test_a_report_in_which_the_spray_came_on_does_not_say_that_the_pressure_has_gone():
    """At one report a second the first of them is a mean of rest and spray."""
    dry, mixed = (9, 0.0, 10.0, True, STANDS), (1, 0.0, 10.0, True, GONE)
    pipeline = walked(PASS, dry, (6, 0.0, 5.0, False, GONE), mixed, dry, step_s=1.0)
    assert {one.why for one in pipeline.unassigned} == {Why.NOT_METERED}


@pytest.mark.parametrize("cut", [7, 10_000])
def test_a_plug_that_takes_meter_and_wheel_along_leaves_ground_that_nobody_knows(cut):
    nothing = (20, 0.0, 0.0, True, STANDS)
    pipeline = walked(PASS, PASS, nothing, TURN_OFF, nothing, TURN_OFF, nothing, TURN_OFF, cut=cut)
    assert {one.why for one in pipeline.unassigned} == {Why.NEITHER}
    found = hidden_in(pipeline.unassigned, Known(0.02, 2.0, 2.0, 1e-4))
    assert found.dry_m2 == 0.0 and found.area_m2 == pytest.approx(120.0, abs=2.5)
    assert found.uncounted_m3 == pytest.approx(60e-4, rel=0.02)


@pytest.mark.parametrize("reading", [GONE, STANDS])
def test_who_rests_with_the_spray_on_and_walks_on_leaves_no_ground(reading):
    assert walked(PASS, (60, 0.0, 0.0, True, reading), (5, 0.0, 10.0, False, GONE), PASS).unassigned == []


def test_a_valve_shut_by_hand_in_a_turn_is_a_turn():
    by_hand = (8, 0.0, 10.0, True, STANDS)
    pipeline = walked(PASS, by_hand, PASS, by_hand, PASS)
    assert pipeline.unassigned == [] and len(pipeline.passes) == 3


def test_who_stands_with_the_spray_on_and_the_pump_off_leaves_no_ground():
    assert walked(PASS, (40, 0.0, 0.0, True, GONE), PASS).unassigned == []


def test_once_the_water_is_back_the_ground_is_known_again():
    pipeline = walked(PASS, DRY, TURN, PASS)
    assert [one.why for one in pipeline.unassigned] == [Why.NO_WATER]
    assert [round(one.distance_m) for one in pipeline.passes] == [20, 20]


def test_walking_home_with_the_spray_off_is_nobodys_ground():
    assert walked(PASS, (60, 0.0, 10.0, False, GONE)).unassigned == []
