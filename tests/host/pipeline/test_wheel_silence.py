"""A wheel that is silent while it sprays: a stop is a place with litres on it, and never a wheel fault as well."""

import numpy as np
import pytest

from host.pipeline import Pipeline, Why
from host.pipeline.live import live_row
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames


def walked(*parts, cut=5):
    """Parts of (seconds, flow in Hz, wheel in Hz), through the pipeline with all that it calls on the way."""
    flow, wheel = (np.concatenate([np.full(round(10 * part[0]), part[of]) for part in parts]) for of in (1, 2))
    pipeline, called = Pipeline(rig_from_toml(RIG)), set()
    frames = made_frames(flow, wheel, flow > 0)
    frames["pressure_max"] += 1  # a reading that never moves is a fault of its own
    for place in range(0, len(frames), cut):
        pipeline.push(frames[place : place + cut], [] if place else [IDENTITY])
        called |= {(fault.kind, fault.or_else, fault.urgent) for fault in pipeline.faults()}
    pipeline.finish()
    return pipeline, called


def test_a_stop_is_shown_as_either_and_withdrawn_when_the_wheel_turns_again():
    pipeline, called = walked((20, 40.0, 10.0), (6, 40.0, 0.0), (20, 40.0, 10.0))
    assert called == {("standing", ("wheel_stuck",), False)}
    assert pipeline.faults() == [] and pipeline.unassigned == []
    assert pipeline.sums()["stationary_s"] == pytest.approx(6.0, abs=0.3)


def test_a_stop_that_ends_with_the_spray_is_no_wheel_fault_either():
    pipeline, _ = walked((20, 40.0, 10.0), (6, 40.0, 0.0), (8, 0.0, 0.0))
    assert pipeline.faults() == []
    assert pipeline.sums()["stationary_s"] == pytest.approx(6.0, abs=0.3)


def test_spraying_for_longer_than_anybody_stands_is_called_and_its_water_belongs_to_no_place():
    pipeline, _ = walked((20, 40.0, 10.0), (20, 40.0, 0.0), (10, 40.0, 10.0))
    (fault,), (apart,) = pipeline.faults(), pipeline.unassigned
    assert (fault.kind, fault.or_else, fault.urgent) == ("wheel_stuck", ("standing",), True)
    assert fault.began_s == pytest.approx(apart.start_s, abs=2.6)
    assert fault.ended_s == pytest.approx(40.1, abs=0.2)
    assert apart.why is Why.NO_PULSES and apart.seconds == pytest.approx(20.0, abs=0.3)
    assert apart.volume_m3 == pytest.approx(20 * 40 / 600e3, rel=0.02)
    assert pipeline.sums()["stationary_m3"] == 0.0


@pytest.mark.parametrize("cut", [7, 10_000])
def test_a_wheel_that_gives_nothing_in_a_turn_either_did_not_stand(cut):
    """Five seconds to the end of one pass and six of the next: with a turn between them, somebody walked."""
    pipeline, _ = walked((20, 40.0, 10.0), (5, 40.0, 0.0), (8, 0.0, 0.0), (6, 40.0, 0.0), (10, 40.0, 10.0), cut=cut)
    (fault,), aparts = pipeline.faults(), pipeline.unassigned
    assert fault.kind == "wheel_stuck"
    assert [one.why for one in aparts] == [Why.NO_PULSES] * 2
    assert [one.seconds for one in aparts] == pytest.approx([5.0, 6.0], abs=0.3)
    assert pipeline.sums()["stationary_m3"] == 0.0
    assert [one.distance_m for one in pipeline.passes] == pytest.approx([20.0, 10.0], abs=0.3)


def test_who_stood_at_the_end_of_a_pass_and_walked_on_stood():
    pipeline, _ = walked((20, 40.0, 10.0), (5, 40.0, 0.0), (8, 0.0, 5.0), (20, 40.0, 10.0))
    assert pipeline.faults() == [] and pipeline.unassigned == []
    assert pipeline.sums()["stationary_s"] == pytest.approx(5.0, abs=0.3)
    assert [one.number for one in pipeline.passes] == [1, 2]


def test_the_spray_tried_twice_before_setting_off_is_standing():
    pipeline, _ = walked((3, 0.0, 0.0), (5, 40.0, 0.0), (4, 0.0, 0.0), (5, 40.0, 0.0), (20, 40.0, 10.0))
    assert pipeline.faults() == [] and pipeline.unassigned == []


def test_a_sensor_unplugged_from_the_start_is_no_standing_still():
    pipeline, _ = walked((3, 0.0, 0.0), (18, 40.0, 0.0), (8, 0.0, 0.0), (18, 40.0, 0.0))
    assert [fault.kind for fault in pipeline.faults()] == ["wheel_stuck"]
    assert [one.why for one in pipeline.unassigned] == [Why.NO_PULSES] * 2
    assert pipeline.sums()["stationary_m3"] == 0.0


def test_a_wheel_that_is_doubted_orders_nobody_to_stop_spraying():
    pipeline, frames = (
        Pipeline(rig_from_toml(RIG)),
        made_frames(np.full(400, 40.0), np.repeat([10.0, 0.0], 200), np.full(400, True)),
    )
    standing = pipeline.push(frames[:250], [IDENTITY])
    assert live_row(pipeline, standing)["advice"] == "standing still: stop spraying"
    assert live_row(pipeline, pipeline.push(frames[250:], []))["advice"] == "rate not known"
