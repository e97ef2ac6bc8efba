"""What the pressure says about the cause: clog or meter, and how sure that is. The numbers are made up for the test.

The odds are held against the textbook's for two normal distributions, and against drawn cases: of the calls that are
said to be 90 % sure, nine of ten must be right.
"""

import math

import numpy as np
import pytest

from host.pipeline.faults.causes import Evidence, no_flow
from host.pipeline.faults.droop import Droop, Moved, Turned

SD = 0.012


def learned(droop, turns=16, sd=1e-3):
    one = Droop()
    for _ in range(turns):
        one.learn(math.log1p(droop), lambda: sd)
    return one


def answer(droop, change):
    """ln P when ln c changes by `change`, found by trying: P = 1 + D·(1 - c·√P) is what a spring-loaded bypass does."""
    low, high = 0.01, 2.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if middle < 1 + droop * (1 - math.exp(change) * math.sqrt(middle)) else (low, middle)
    return math.log(low)


def test_droop_is_learned_from_the_ends_of_passes():
    rng = np.random.default_rng(1)
    one = Droop()
    assert one.value == pytest.approx((0.10, 0.06), abs=0.01)
    for rise in rng.normal(math.log1p(0.2), 0.015, 12):
        one.learn(rise, lambda: 0.015)
    value, u = one.value
    assert value == pytest.approx(0.2, abs=3 * u)
    assert u == pytest.approx(1.2 * 0.015 / math.sqrt(12), rel=0.3)  # mean of twelve; dD = (1 + D)·d ln P


def test_the_odds_of_clog_and_meter_are_those_of_two_normal_distributions():
    change, rise = math.log(2 / 3), answer(0.13, math.log(2 / 3))
    for by in (0.75 * rise, 0.5 * rise, 0.25 * rise):
        told = learned(0.13).likelihoods([Moved(0.0, change, by, SD)], [])
        # Log ratio of N(rise, sd) to N(0, sd); the one in twenty that is wild changes it by little so near to both.
        expected = (by * rise - rise * rise / 2) / SD**2
        assert math.log(told["orifice"] / told["meter"]) == pytest.approx(expected, abs=0.35)


def test_a_small_clog_and_a_stiff_regulator_leave_it_open():
    for droop, change in ((0.12, math.log(0.95)), (0.0, math.log(2 / 3))):
        told = learned(droop).likelihoods([Moved(0.0, change, answer(droop, change), SD)], [])
        assert told["orifice"] < 2 * told["meter"]


def test_the_end_of_the_pass_tells_where_the_step_did_not():
    droop, change = 0.13, math.log(0.5)
    half = [Moved(0.0, change, answer(droop, change) / 2, SD)]
    clogged = Turned(change, math.log1p(droop) - answer(droop, change), SD)
    whole = Turned(change, math.log1p(droop), SD)
    before = learned(droop).likelihoods(half, [])
    assert 0.5 < before["orifice"] / before["meter"] < 2
    after = learned(droop).likelihoods(half, [clogged])
    assert after["orifice"] > 9 * after["meter"]
    after = learned(droop).likelihoods(half, [whole])
    assert after["meter"] > 9 * after["orifice"]


@pytest.mark.parametrize("turns", [4, 16, 40])
def test_a_strainer_that_closes_slowly_does_not_make_its_own_rise_the_usual_one(turns):
    one = learned(0.06, turns=3)
    for fall in np.linspace(0.0, 0.2, turns):
        one.learn(math.log1p(0.06) + fall, lambda: 0.01, -fall)
    assert one.comes_back(math.log1p(0.06) + 0.21, -0.21) is True  # all of the fall is gone with the boom shut
    assert one.comes_back(math.log1p(0.06) + 0.02, -0.21) is False  # the boom shut or not: the regulator
    assert one.comes_back(math.log1p(0.06), -0.02) is None  # the strainer has been cleaned meanwhile
    assert Droop().comes_back(0.3, 0.0) is True
    assert Droop().comes_back(0.15, 0.0) is False


def test_behind_the_valve_a_pressure_that_does_not_answer_to_a_clog_is_not_surely_the_meters():
    """Nothing has shown how stiff the regulator is: with a stiff one clogged nozzles leave the pressure, too."""
    told = Droop().likelihoods([Moved(0.0, math.log(0.5), 0.0, SD)], [])
    assert told["orifice"] / (told["orifice"] + told["meter"]) > 0.1


def test_two_steps_of_one_fault_add_up():
    droop, change = 0.13, math.log(2 / 3)
    middle, end = answer(droop, change / 2), answer(droop, change)
    one = learned(droop).likelihoods([Moved(0.0, change, end, SD)], [])
    two = learned(droop).likelihoods(
        [Moved(0.0, change / 2, middle, SD), Moved(change / 2, change, end - middle, SD)], []
    )
    assert two["orifice"] > two["meter"]
    assert one["orifice"] / one["meter"] > two["orifice"] / two["meter"] > 1  # the same rise, seen twice as poorly


def test_a_transducer_that_has_moved_moves_twice_as_far_the_other_way():
    change = -0.08
    told = learned(0.13).likelihoods([Moved(0.0, change, 0.16, SD)], [])
    assert told["transducer"] > 99 * max(told["orifice"], told["meter"])


@pytest.mark.parametrize(
    ("by", "made"),
    [
        (answer(0.13, math.log(2 / 3)), True),  # a nozzle of three
        (0.0, True),  # the meter
        (0.81, True),  # the transducer: twice ln(2/3) the other way
        (-0.16, False),  # a knob turned down by 15 % just then
        (0.35, False),
    ],
)
def test_a_pressure_that_something_else_has_moved_bears_no_witness(by, made):
    assert learned(0.13).answers(Moved(0.0, math.log(2 / 3), by, SD)) is made


def test_behind_the_valve_the_ends_of_passes_say_nothing():
    one = learned(-0.6, turns=4)
    assert all(math.isnan(value) for value in one.value)
    moves = [Moved(0.0, math.log(2 / 3), 0.04, SD)]
    assert one.likelihoods(moves, [Turned(math.log(2 / 3), -0.9, SD)]) == one.likelihoods(moves, [])


def test_it_is_as_sure_as_it_is_right():
    rng = np.random.default_rng(4)
    said = []
    for _ in range(1500):
        droop, change, turns = rng.uniform(0.08, 0.18), math.log(1 - rng.uniform(0.05, 0.5)), rng.integers(0, 3)
        clog = rng.random() < 0.5
        rise = answer(droop, change) if clog else 0.0
        one = Droop()
        for _ in range(5):
            one.learn(math.log1p(droop) + rng.normal(0.0, 0.015), lambda: 0.015)
        told = one.likelihoods(
            [Moved(0.0, change, rise + rng.normal(0.0, SD), SD)],
            [Turned(change, math.log1p(droop) - rise + rng.normal(0.0, 0.015), 0.015) for _ in range(turns)],
        )
        share = told["orifice"] / (told["orifice"] + told["meter"])
        said.append((max(share, 1 - share), (share > 0.5) == clog))
    sure, right = np.array(said).T
    for low, high in ((0.5, 0.7), (0.7, 0.9), (0.9, 0.97), (0.97, 1.01)):
        here = (sure >= low) & (sure < high)
        assert here.sum() > 50
        spread = math.sqrt(np.mean(sure[here] * (1 - sure[here])) / here.sum())  # of a share: binomial
        assert np.mean(right[here]) > np.mean(sure[here]) - 3 * spread


def no_flow_verdict(droop, **what):
    (rule,) = (rule for rule in no_flow.RULES if rule.name == "no_flow")
    known = {"moved": 0.0, "moved_sd": 0.02, "usual": 1.0, "supply_low": False, "nearly_empty": False}
    return rule.verdict(Evidence(**{**known, **what}, droop=droop))


@pytest.mark.parametrize(("rises", "or_else"), [((), ("valve_shut",)), ((-3.0,), ("valve_shut",)), ((0.1,), ())])
def test_no_pressure_and_no_flow_is_the_pump_for_sure_only_where_the_pressure_stays_behind_a_shut_valve(rises, or_else):
    droop = Droop()
    for rise in rises:
        droop.learn(rise, lambda: 0.01)
    verdict = no_flow_verdict(droop, moved=-2.0, usual=0.1)
    assert (verdict.kind, verdict.or_else) == ("pump_off", or_else)


def test_a_meter_is_stuck_only_at_the_pressure_that_the_run_began_with():
    """Check valves shut at some psi (common practice: 5 to 10): what a dying pump still holds is no sign of a flow."""
    assert no_flow_verdict(learned(0.13)).kind == "meter_stuck"
    assert no_flow_verdict(learned(0.13), usual=math.nan).kind == "meter_stuck"
    low = no_flow_verdict(learned(0.13), usual=0.2)
    assert low.kind == "pump_off" and "meter_stuck" in low.or_else and low.sure <= 0.5
    assert no_flow_verdict(learned(0.13), usual=0.2, nearly_empty=True).kind == "tank_empty"
