"""Strip, evenness, standing spots, balance and product of a run, against the simulator's truth and outside formulas."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from host.documents.document import Document, Section
from host.documents.text import format_text
from host.errors import UserError
from host.frames import Event
from host.journal import RunFile
from host.pipeline import Fault
from host.review.balance import TankCount, product_of, tank_balance
from host.review.evenness import BIN_M, Strip, coefficient_of_variation, sections_off_target
from host.review.fault_sections import faults_section
from host.review.review import review_of
from host.review.tank_sections import product_blocks, tank_blocks
from host.rig.model import DAY_TO_DAY
from host.simulate.disturbances import Disturbance
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import WalkSettings
from tests.host.pipeline.made import IDENTITY


def simulated(walk, *events):
    scenario = replace(load_scenario("demo"), disturbances=events, walk=walk)
    source = ScenarioSource(scenario)
    frames = run_frames(source)
    return review_of(RunFile(Path("made.sward"), frames=frames, events=[IDENTITY]), scenario.rig), source.sprayer


def true_inverse_pace(sprayer, one, edges_m):
    times = np.arange(one.begin_s, one.end_s + 1.0, 0.01)  # the end is known to a tenth of a second
    distance = sprayer.walk.distance_at(times)
    return np.diff(np.interp(edges_m, distance - distance[0], times)) / np.diff(edges_m)


def test_coefficient_of_variation_is_that_of_scipy():
    values = np.random.default_rng(3).uniform(0.5, 2.0, 40)
    assert coefficient_of_variation(values) == pytest.approx(stats.variation(values, ddof=1))


def test_coefficient_of_variation_of_a_published_sample():
    # NIST Statistical Reference Datasets, "NumAcc1": mean 10000002, standard deviation 1 (certified).
    assert coefficient_of_variation(np.array([10000001.0, 10000003.0, 10000002.0])) == pytest.approx(1 / 10000002.0)


@pytest.mark.parametrize("variation", [0.03, 0.10])
def test_evenness_follows_the_true_pace(variation):
    # The rate goes as one over the pace (rate = flow / (speed · swath)); the true pace is known to the simulator.
    review, sprayer = simulated(WalkSettings(passes=4, length_m=38.0, variation=variation))
    assert len(review.strips) == 4
    for strip, one in zip(review.strips, sprayer.walk.passes, strict=True):
        true = coefficient_of_variation(true_inverse_pace(sprayer, one, strip.edges_m))
        assert strip.variation == pytest.approx(true, abs=0.007)


def test_the_strip_adds_up_to_the_pass():
    review, _ = simulated(WalkSettings(passes=3, length_m=38.0))
    for strip, one in zip(review.strips, review.passes, strict=True):
        assert strip.edges_m[-1] == pytest.approx(one.distance_m)
        length = np.diff(strip.edges_m)
        assert length[:-1] == pytest.approx(BIN_M)
        assert np.average(strip.rate_m3_m2, weights=length) == pytest.approx(one.rate_m3_m2, rel=0.01)


def test_a_slow_stretch_is_found_where_it_was():
    events = (Disturbance("pace", 20.0, amount=0.6, lasts_s=8.0),)
    review, sprayer = simulated(WalkSettings(passes=1, length_m=60.0, variation=0.0), *events)
    begin, slow, fast = sprayer.walk.distance_at(np.array([sprayer.walk.passes[0].begin_s, 20.0, 28.0]))
    over = [one for one in review.sections(review.strips) if one.excess_m3 > 0]
    assert len(over) == 1
    assert over[0].from_m == pytest.approx(slow - begin, abs=1.5)
    assert over[0].to_m == pytest.approx(fast - begin, abs=1.5)
    assert over[0].rate_m3_m2 == pytest.approx(review.rig.target.rate_m3_m2 / 0.6, rel=0.12)


def test_bins_without_a_rate_are_neither_thin_nor_thick():
    target = load_scenario("demo").rig.target
    rate = target.rate_m3_m2 * np.array([1.0, np.nan, 0.5, 0.5, 1.5, 1.0])
    found = sections_off_target(Strip(7, np.arange(7.0), rate, math.nan, np.ones(6, dtype=bool)), target, 2.0)
    assert [(one.number, one.from_m, one.to_m) for one in found] == [(7, 2.0, 4.0), (7, 4.0, 5.0)]
    # Missing: half the target over 2 m of a 2 m swath.
    assert found[0].excess_m3 == pytest.approx(-0.5 * target.rate_m3_m2 * 4.0)


def test_a_section_is_off_only_where_the_area_off_target_says_so():
    target = load_scenario("demo").rig.target
    rate = target.rate_m3_m2 * np.array([1.0, 1.11, 1.0, 1.0, 1.4, 1.2, 0.85, 0.85])
    counted = np.array([0, 0, 0, 0, 1, 0, 0, 1], dtype=bool)
    found = sections_off_target(Strip(7, np.arange(9.0), rate, math.nan, counted), target, 2.0)
    assert [(one.from_m, one.to_m) for one in found] == [(4.0, 6.0), (6.0, 8.0)]
    review, _ = simulated(WalkSettings(passes=3, length_m=20.0))
    quiet = replace(review.track, off_target_s=np.zeros(len(review.track)))
    assert replace(review, track=quiet).sections(replace(review, track=quiet).strips) == []


@pytest.mark.parametrize(
    ("area_m2", "ended_s", "says"),
    [
        (0.2, 10.1, None),
        (0.2, 16.0, "Lasted 6 s"),
        (0.2, None, "Lasted To the end"),
        (12.0, 16.0, "On the ground 6 s, 12 m² affected"),
        (math.nan, 16.0, "On the ground 6 s, how much ground is not known"),
    ],
)
def test_ground_of_a_fault_that_rounds_to_nothing_is_not_told(area_m2, ended_s, says):
    review, _ = simulated(WalkSettings(passes=1, length_m=4.0))
    fault = Fault(1, "link_stale", (), 0.95, 10.0, 12.0, ended_s, None, None, None, None, area_m2, True)
    shown = said(faults_section(replace(review, faults=[fault], unassigned=()), "metric").sections[0].blocks)
    assert says is None or says in shown
    assert ("On the ground" in shown) == (says or "").startswith("On the ground") and " 0 m²" not in shown
    assert ("Lasted" in shown) == (says or "").startswith("Lasted")


def test_spraying_while_standing_is_placed_and_measured():
    review, sprayer = simulated(WalkSettings(passes=2, length_m=38.0), Disturbance("stand", 20.0, lasts_s=5.0))
    begin, here = sprayer.walk.distance_at(np.array([sprayer.walk.passes[0].begin_s, 23.0]))
    spots = review.spots
    assert len(spots) == 1
    assert spots[0].number == 1
    assert spots[0].into_pass_m == pytest.approx(here - begin, abs=0.5)
    # Standing is known only when the next pulse of the wheel stays out, and a walker takes a moment to stop.
    assert 3.5 < spots[0].duration_s < 5.0
    flow = review.passes[0].volume_m3 / (review.passes[0].spraying_s - spots[0].duration_s)
    assert spots[0].volume_m3 == pytest.approx(flow * spots[0].duration_s, rel=0.05)
    assert sum(one.volume_m3 for one in spots) == pytest.approx(review.totals.standing_m3, abs=2e-5)


def test_uncertainty_of_a_pass_holds_the_step_of_its_pulses():
    # GUM F.2.2.1: a reading to a step δ has δ/√12; volume is the difference of two such readings.
    review, _ = simulated(WalkSettings(passes=1, length_m=4.0))
    one, rig = review.passes[0], review.rig
    pulse = 1 / 446e3 / math.sqrt(6)
    expected = math.hypot(math.hypot(rig.meter.relative_uncertainty, DAY_TO_DAY) * one.volume_m3, pulse)
    assert review.pass_volume_u_m3(one) == pytest.approx(expected, rel=0.02)
    assert review.pass_rate_u_m3_m2(one) > one.rate_u_m3_m2


def said(blocks):
    text = format_text(Document("part", "", "", (Section("", "", blocks),)))
    return " ".join(text.split())


def refill(**detail):
    return Event(0.0, 0, "refill", detail)


@pytest.mark.parametrize(("system", "more"), [("us", "5.28 gal"), ("metric", "20.0 L")])
def test_more_sprayed_than_was_in_the_tank_asks_for_the_refill(system, more):
    rig = load_scenario("demo").rig
    full = rig.tank.volume_m3
    untold = tank_balance([], {"tank left": "20 L"}, rig, TankCount(full + 0.020, -0.020))
    assert untold.refill_not_told
    assert untold.meter_over_tank is None  # says nothing about the meter
    assert f"{more} more went through the meter than the tank held" in said(tank_blocks(untold, system))
    dry = tank_balance([], {}, rig, TankCount(full + 0.0005, -0.0005))
    assert not dry.refill_not_told
    assert "Left by count 0.0" in said(tank_blocks(dry, system))
    assert "-" not in said(tank_blocks(dry, system))


@pytest.mark.parametrize(("told_m3", "warned"), [(None, False), (0.030, False), (9.0, True)])
def test_a_tank_that_is_said_to_hold_more_than_it_can_counts_as_full(told_m3, warned):
    rig = load_scenario("demo").rig
    detail = {} if told_m3 is None else {"tank_m3": told_m3}
    balance = tank_balance([Event(0.0, 0, "run_start", detail)], {}, rig, TankCount(0.01, 0.02))
    assert balance.start_m3 == (rig.tank.volume_m3 if told_m3 in (None, 9.0) else told_m3)
    assert ("9 000.0 L were in the tank at the start" in said(tank_blocks(balance, "metric"))) == warned


@pytest.mark.parametrize(("metered_m3", "asked"), [(0.01, True), (0.0, False), (math.nan, False)])
def test_what_is_left_is_asked_for_only_where_something_was_counted(metered_m3, asked):
    balance = tank_balance([], {}, load_scenario("demo").rig, TankCount(metered_m3, 0.02))
    assert ("Note what was left" in said(tank_blocks(balance, "metric"))) == asked


def test_tank_balance_by_the_marks():
    rig = load_scenario("demo").rig
    disturbances = [Event(0.0, 0, "run_start", {"tank_m3": 0.040}), refill(added_m3=0.010)]
    balance = tank_balance(disturbances, {"tank left": "20 L"}, rig, TankCount(0.0309, 0.0191))
    assert balance.meter_over_tank == pytest.approx(0.0309 / 0.030)
    # Three readings to 0.5 L (0.5/√12 each) over 30 L, and marks right to ± 3 % (3 %/√3): GUM 4.3.7, F.2.2.1.
    expected = math.hypot(math.sqrt(3) * 0.5 / math.sqrt(12) / 30, 0.03 / math.sqrt(3))
    assert balance.meter_over_tank_u / balance.meter_over_tank == pytest.approx(expected)
    # Full again to the brim, all that was counted since then is balanced; and a refill that was confirmed afterwards.
    since = rig.tank.volume_m3 - 0.0191
    balance = tank_balance([*disturbances, refill()], {"tank left": "20 L"}, rig, TankCount(0.0709, 0.0191))
    assert balance.meter_over_tank == pytest.approx(since / (rig.tank.volume_m3 - 0.020))
    noted = {"tank left": "20 L", "refill not recorded": "10 L"}
    balance = tank_balance(disturbances[:1], noted, rig, TankCount(0.0309, 0.0091))
    assert balance.meter_over_tank == pytest.approx(0.0309 / 0.030)
    assert balance.left_by_count_m3 == pytest.approx(0.0191)


def test_a_refill_that_the_tank_has_no_room_for_is_told_and_checks_no_meter():
    rig = load_scenario("demo").rig
    full = rig.tank.volume_m3
    events = [refill(added_m3=full)]
    balance = tank_balance(events, {"tank left": "20 L"}, rig, TankCount(0.030, 0.020, over_m3=full - 0.010))
    assert balance.overfilled_m3 == pytest.approx(full - 0.010) and balance.meter_over_tank is None
    assert "39.2 L of what was filled in is too much" in said(tank_blocks(balance, "metric"))
    # By as much as marks and meter may be wrong it is none, and the ratio is that of what was filled in.
    brim = tank_balance(
        [refill(added_m3=0.011)], {"tank left": "20 L"}, rig, TankCount(0.0400, full - 0.030, over_m3=0.001)
    )
    assert brim.overfilled_m3 == 0
    assert brim.meter_over_tank == pytest.approx(0.040 / (full + 0.011 - 0.020))
    confirmed = tank_balance([], {"refill not recorded": "30 L"}, rig, TankCount(0.010, full - 0.010))
    assert confirmed.left_by_count_m3 == full and confirmed.overfilled_m3 == pytest.approx(0.020)


@pytest.mark.parametrize(("text", "says"), [("half", "such as"), ("50 gal", "holds 13.00 gal"), ("-1 L", "above zero")])
def test_a_level_that_cannot_be_does_not_count_and_costs_no_figure(text, says):
    rig = load_scenario("demo").rig
    balance = tank_balance([], {"tank left": text, "refill not recorded": "2 L"}, rig, TankCount(0.03, 0.02))
    assert balance.measured_left_m3 is balance.meter_over_tank is None
    assert balance.refills_m3 == (0.002,)
    shown = said(tank_blocks(balance, "metric"))
    assert 'note "tank left" is' in shown and says in shown
    for figure in ("At the start 49.2 L", "Through the meter 30.0 L", "Left by count 22.0 L"):
        assert figure in shown
    taken_back = tank_balance([], {"tank left": ""}, rig, TankCount(0.03, 0.02))
    assert not taken_back.unread and taken_back.measured_left_m3 is None


def test_product_per_area_against_the_label():
    # 2 fl oz of product in each gallon at 1 gal/1000 ft² is 2 fl oz/1000 ft².
    rate = 3.785411784e-3 / (1000 * 0.3048**2)
    product = product_of({"mix": "2 fl oz/gal", "label limit": "1.9 fl oz/1000 ft2"}, rate, 0.01 * rate, 0.038)
    assert product.per_area == pytest.approx(2 * 29.5735295625e-6 / (1000 * 0.3048**2))
    assert product.per_area_u == pytest.approx(0.01 * product.per_area)
    assert product.over_limit
    assert "The label allows 1.90 fl oz/1000 ft²" in said(product_blocks(product, "us"))
    assert said(product_blocks(product, "us")).endswith("Over the label's limit.")
    vague = replace(product, per_area_u=0.1 * product.per_area)
    assert said(product_blocks(vague, "us")).endswith("by less than the uncertainty.")
    assert not product_of({"mix": "5 g/L", "label limit": "30 kg/ha"}, rate, 0.0, 0.038).over_limit
    assert product_of({}, rate, 0.0, 0.038) is None
    with pytest.raises(UserError, match="mix"):
        product_of({"mix": "a glug"}, rate, 0.0, 0.038)
    for limit in ("2 fl oz/1000 ft2", "little"):
        unlike = product_of({"mix": "5 g/L", "label limit": limit}, rate, 0.0, 0.038)
        assert unlike.limit is None and not unlike.over_limit
        assert "Per area" in said(product_blocks(unlike, "us"))
        assert f'note "label limit" is "{limit}"' in said(product_blocks(unlike, "us"))
