"""What may lie behind that which is not assigned, by plain arithmetic."""

import math

import pytest

from host.frames import Event
from host.pipeline import Pipeline, Unassigned, Why
from host.review.hidden_ground import Hidden, Known, hidden_behind
from host.review.totals import totals_of
from host.rig import rig_from_toml
from tests.host.pipeline.made import RIG, steady

FLOW_M3_S = 4 * 1e-3 / 60  # four nozzles at a litre a minute


def test_a_board_that_falls_silent_before_it_has_gone_a_pass_leaves_as_much_unheard_as_the_boom_sprays():
    """One and a half metres sprayed, then a minute of which nothing is known: no rate, but the ± holds that minute."""
    pipeline = Pipeline(rig_from_toml(RIG), watch_faults=False)
    last = pipeline.push(steady(15), [Event(61.5, 10**9, "run_end", {})])
    pipeline.finish()
    totals = totals_of(pipeline, last)
    assert totals.rate_m3_m2 is None
    assert totals.uncounted_m3 == pytest.approx(60 * FLOW_M3_S)
    assert totals.volume_m3 + 2 * totals.volume_u_m3 >= 61.4 * FLOW_M3_S  # the first report only begins the counts


@pytest.mark.parametrize("why", [Why.RESTART, Why.DROPPED])
def test_without_a_rate_what_was_counted_is_not_missing_and_no_more_than_the_tank_held(why):
    known = Known(0, 0, 2.0, FLOW_M3_S)
    one = Unassigned(why, 10.0, 40.0, 0.5e-3, 1.0, 30.0)
    assert hidden_behind(one, known) == Hidden(0.0, pytest.approx(1.5e-3))
    assert hidden_behind(one, Known(0, 0, 2.0, FLOW_M3_S, left_m3=1e-3)) == Hidden(0.0, 1e-3)
    assert hidden_behind(Unassigned(Why.SILENCE, 10.0, 40.0, 0.5e-3, 1.0, 30.0), known) == Hidden()


def test_a_wheel_that_was_silent_hides_at_most_the_ground_that_its_water_covers():
    known = Known(2e-5, 2.0, 2.0)
    one = Unassigned(Why.NO_PULSES, 10.0, 30.0, 2e-3, 0.0, 20.0)
    assert hidden_behind(one, known) == Hidden(pytest.approx(100.0))
    assert math.isclose(hidden_behind(one, known).uncounted_m3, 0.0)


def test_a_board_that_restarts_the_next_day_hides_no_more_than_the_tank_held():
    """Half a litre counted behind a night: a boom that sprayed all the night would have taken 2,900 L."""
    known = Known(2e-5, 2.0, 2.0, left_m3=0.06)
    hidden = hidden_behind(Unassigned(Why.RESTART, 100.0, 43300.0, 0.5e-3, 3.0, 43200.0), known)
    assert hidden == Hidden(pytest.approx(0.0605 / 2e-5), pytest.approx(0.06))
