"""Steps weighed against the tank balances, and single runs that stand out."""

from dataclasses import replace

import numpy as np
import pytest

from host.calibrate.uncertainty import student_factor
from host.review import season as kinds
from host.review.lone import LONE_RUN, LONE_TANK
from host.review.season import season_of
from host.review.trend import lone_runs
from host.review.weighing import weigh_step
from tests.bench.bench_season import AT, drawn
from tests.host.review.season_runs import Truth, day_of, season


@pytest.fixture(scope="module")
def digest():
    return season(1, Truth())[0]


def test_a_meter_step_that_its_balances_show_is_named_with_its_odds(digest):
    (finding,) = season_of(drawn(digest, 3, "meter step")).findings
    assert (finding.kind, finding.first_day) == (kinds.METER_STEP, day_of(AT))
    assert "(meter, " in finding.sentence and " : 1)" in finding.sentence


def test_few_balances_leave_it_open_and_say_how_many_would_decide():
    rng = np.random.default_rng(2)
    weighed = weigh_step(0.03, 0.002, rng.normal(0, 0.02, 30), np.array([0.015]))
    assert not weighed.meter and not weighed.nozzles
    assert "more balance" in weighed.decides and "catch test" in weighed.decides
    assert weigh_step(0.03, 0.002, np.array([]), np.array([])).words == "meter or nozzles, even odds"


def test_one_clogged_run_is_one_finding_with_what_its_review_found(digest):
    runs = drawn(digest, 5, "clogged run")
    runs[AT] = replace(runs[AT], fault_kinds=("clog",))
    (finding,) = season_of(runs).findings
    assert (finding.kind, finding.first_day) == (LONE_RUN, day_of(AT))
    assert "found a clog" in finding.sentence
    assert finding.change == pytest.approx(-0.10, abs=student_factor(0.999, 30) * finding.change_u)


def test_an_untold_refill_is_asked_about_with_its_volume(digest):
    (finding,) = season_of(drawn(digest, 6, "untold refill")).findings
    assert finding.kind == LONE_TANK
    assert "refill of about" in finding.sentence and "gal" in finding.sentence


def test_a_step_is_no_lone_run():
    rng = np.random.default_rng(1)
    for run in range(5, 35):
        y = np.where(np.arange(40) >= run, 0.1, 0.0) + rng.normal(0, 0.005, 40)
        assert lone_runs(y, 0.02) == []
