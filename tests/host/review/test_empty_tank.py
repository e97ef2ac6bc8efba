"""A meter goes on turning in air and froth: what it counts beyond what the tank held may never have been water."""

import pytest

from host.frames import Event
from host.pipeline import Pipeline
from host.review.totals import totals_of
from tests.bench.other_runs import fault_run
from tests.host.pipeline.made import IDENTITY


def reviewed(seed, *events):
    one = fault_run({}, seed, "tank_empty")
    pipeline = Pipeline(one.run.rig)
    signals = pipeline.push(one.run.frames, [IDENTITY, *events])
    pipeline.finish()
    return one.run.rig.tank.volume_m3, pipeline, totals_of(pipeline, signals)


@pytest.mark.parametrize("seed", [0, 3, 5])
def test_what_was_counted_beyond_the_tank_is_in_the_plus_minus(seed):
    held_m3, pipeline, totals = reviewed(seed)
    assert "tank_empty" in {fault.kind for fault in pipeline.faults()}
    assert totals.volume_m3 > 1.1 * held_m3
    assert totals.volume_m3 - 2 * totals.volume_u_m3 <= held_m3
    assert totals.ground_m3 - 2 * totals.ground_u_m3 <= held_m3
    rate, u = totals.rate_m3_m2, totals.rate_u_m3_m2
    assert rate - 2 * u <= held_m3 / totals.area_m2
    # The two passes after it were walked, and nobody knows what they got.
    assert totals.unknown_m2 >= sum(one.area_m2 for one in pipeline.passes[-2:])
    assert totals.over_m2 + totals.under_m2 + totals.unknown_m2 <= totals.area_m2 + 1e-9


def test_a_refill_that_is_noted_leaves_nothing_in_doubt():
    _, _, in_doubt = reviewed(0)
    one = fault_run({}, 0, "tank_empty")
    refill = Event(0.0, len(one.run.frames) - 50, "refill", {})
    _, _, noted = reviewed(0, refill)
    assert noted.volume_u_m3 < 0.2 * in_doubt.volume_u_m3
    assert noted.unknown_m2 < in_doubt.unknown_m2
