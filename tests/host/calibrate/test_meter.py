import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from host.calibrate.meter import ASSUMED_REPEATABILITY, MeterCatch, calibrate_meter
from host.calibrate.uncertainty import pooled
from host.calibrate.vessels import TANK, Vessel
from host.errors import UserError

LITRE = 1e-3
FINE = Vessel("balance", step_m3=1e-9, accuracy=0.0)  # nothing of its own: leaves the scatter of the meter alone
GOOD_JUG = Vessel("jug", step_m3=10e-6, accuracy=0.005)
FINE_BALANCE = Vessel("balance", step_m3=1e-6, accuracy=0.003)


def catch(pulses, litres, seconds=60.0, vessel=FINE):
    return MeterCatch(pulses, litres * LITRE, vessel, seconds)


def test_the_k_factor_is_pulses_per_volume():
    """Definition; Pope et al., NIST SP 1039r1, 2014."""
    one = MeterCatch(2750, 3.785411784 * LITRE, FINE, 110.0)
    assert one.factor * 3.785411784e-3 == pytest.approx(2750)  # pulses per gallon
    assert one.frequency_hz == pytest.approx(25.0)


def test_scatter_is_pooled_and_weighed_as_scipy_does_when_nothing_else_matters():
    litres = [2.000, 2.012, 1.993, 2.006, 1.998]
    result = calibrate_meter([catch(900, one) for one in litres])
    factors = [900 / (one * LITRE) for one in litres]
    mean = np.mean(factors)
    pooled = math.sqrt((4 * (scipy.stats.tstd(factors) / mean) ** 2 + 4 * ASSUMED_REPEATABILITY**2) / 8)
    assert result.curve[0][1] == pytest.approx(mean, rel=1e-6)
    assert result.uncertainty.standard == pytest.approx(pooled / math.sqrt(5), rel=1e-2)
    expanded = scipy.stats.t.ppf(0.975, 8) * pooled / math.sqrt(5)
    assert result.uncertainty.expanded == pytest.approx(expanded, rel=1e-2)
    assert result.uncertainty.degrees == pytest.approx(8, rel=2e-2)
    np.testing.assert_allclose(result.residuals, np.array(factors) / mean - 1, atol=1e-6)


def test_one_catch_against_the_uncertainties_package():
    c = MeterCatch(431, 0.95 * LITRE, GOOD_JUG, 30.0)
    pulses = ufloat(431, 1 / math.sqrt(6)) * (1 + ufloat(0, ASSUMED_REPEATABILITY))
    step = 10e-6 / math.sqrt(12)
    volume = (ufloat(0.95e-3, step) + ufloat(0, step)) * (1 + ufloat(0, 0.005 / math.sqrt(3)))
    theirs = pulses / volume
    result = calibrate_meter([c])
    assert result.curve[0][1] == pytest.approx(theirs.nominal_value)
    assert result.uncertainty.standard == pytest.approx(theirs.std_dev / theirs.nominal_value, rel=1e-3)
    assert any("repeatability of 0.8 % is assumed" in remark for remark in result.remarks)


def test_another_vessel_never_makes_it_worse():
    """Between vessels each counts by all that it leaves open, its scale with it (inverse variances)."""
    alone = [catch(900 + n, 2.0, vessel=FINE_BALANCE) for n in range(3)]
    tank = MeterCatch(9008, 20 * LITRE, TANK, 600.0)
    assert calibrate_meter([*alone, tank]).uncertainty.expanded <= calibrate_meter(alone).uncertainty.expanded * 1.001
    jug = calibrate_meter([catch(900 + n, 2.0, vessel=GOOD_JUG) for n in range(3)])
    both = calibrate_meter([catch(900 + n, 2.0, vessel=v) for n in range(3) for v in (GOOD_JUG, FINE_BALANCE)])
    assert both.uncertainty.expanded < jug.uncertainty.expanded


@pytest.mark.parametrize("repeats", [1, 3])
def test_vessels_weigh_as_generalised_least_squares_has_it(repeats):
    """Aitken, Proc. R. Soc. Edinburgh 55 (1936) 42: weights V⁻¹1 / 1ᵀV⁻¹1, solved by NumPy from all that is shared.

    A bucket with coarse marks and a fine scale beside a jug: how the marks are read is most of what the bucket leaves
    open, and all of its readings share it.
    """
    bucket, jug = Vessel("bucket", step_m3=200e-6, accuracy=0.002), Vessel("jug", step_m3=10e-6, accuracy=0.02)
    catches = [MeterCatch(902, 2 * LITRE, v, 60.0) for v in (bucket, jug) for _ in range(repeats)]
    catches = [replace(c, pulses=898) if c.vessel is jug else c for c in catches]
    repeatability, _ = pooled(0.0, 2 * (repeats - 1), ASSUMED_REPEATABILITY)
    marks = [v.step_m3 / math.sqrt(12) / (2 * LITRE) for v in (bucket, jug)]
    each = [marks[c.vessel is jug] ** 2 + 1 / 6 / c.pulses**2 + repeatability**2 for c in catches]
    # All readings of one amount were rounded alike, too (`marks_uncertainty`): √(2 - 1/n) of the marks.
    alike = [v.accuracy**2 / 3 + m**2 * (2 - 1 / repeats) for v, m in zip((bucket, jug), marks, strict=True)]
    covariance = np.diag(each) + np.kron(np.diag(alike), np.ones((repeats, repeats)))
    weights = np.linalg.solve(covariance, np.ones(2 * repeats))
    weights /= weights.sum()
    result = calibrate_meter(catches)
    assert result.curve[0][1] == pytest.approx(weights @ [c.factor for c in catches], rel=1e-9)
    assert result.uncertainty.standard == pytest.approx(math.sqrt(weights @ covariance @ weights), rel=1e-6)


@given(st.permutations([(900, 2.0), (905, 2.01), (899, 1.99), (905, 2.0)]))
def test_the_order_of_typing_changes_nothing(order):
    expected = calibrate_meter([catch(*one, vessel=GOOD_JUG) for one in sorted(order)])
    result = calibrate_meter([catch(*one, vessel=GOOD_JUG) for one in order])
    assert result.curve[0][1] == pytest.approx(expected.curve[0][1], rel=1e-12)
    assert result.uncertainty.expanded == pytest.approx(expected.uncertainty.expanded, rel=1e-12)


@pytest.mark.parametrize("vessel", [GOOD_JUG, FINE_BALANCE])
def test_more_catches_that_agree_never_widen_it(vessel):
    stated = [calibrate_meter([catch(900, 2.0, vessel=vessel)] * count).uncertainty.expanded for count in range(1, 15)]
    assert all(after <= before for before, after in itertools.pairwise(stated))


def test_the_scale_of_the_jug_is_shared_and_does_not_average_out():
    catches = [catch(900 + n % 2, 2.0, vessel=GOOD_JUG) for n in range(40)]
    result = calibrate_meter(catches)
    scale = next(part for part in result.uncertainty.components if "scale of the jug" in part.name)
    assert scale.standard == pytest.approx(0.005 / math.sqrt(3))
    marks = next(part for part in result.uncertainty.components if "marks of the jug" in part.name)
    # All of one amount, so they were rounded alike as well: √(2 - 1/40) of the marks' own.
    assert marks.standard == pytest.approx(10e-6 / math.sqrt(12) / 2e-3 * math.sqrt(2 - 1 / 40))
    assert result.uncertainty.standard == pytest.approx(math.hypot(scale.standard, marks.standard), rel=0.05)


def test_a_tank_balance_is_one_more_point_with_little_weight():
    catches = [catch(900, 2.0, vessel=GOOD_JUG), catch(903, 2.0, vessel=GOOD_JUG), catch(898, 2.0, vessel=GOOD_JUG)]
    tank = MeterCatch(9900, 21.4 * LITRE, TANK, 660.0)  # 463 per litre, 3 % off
    alone, both = calibrate_meter(catches), calibrate_meter([*catches, tank])
    assert alone.curve[0][1] < both.curve[0][1] < (3 * alone.curve[0][1] + tank.factor) / 4
    assert any("tank marks" in part.name for part in both.uncertainty.components)


def test_a_curve_where_the_points_call_for_it():
    rng = np.random.default_rng(5)
    catches = []
    for seconds, factor in [(240, 432.0), (120, 446.0), (60, 452.0)]:
        catches += [catch(round(factor * 2.0 * (1 + rng.normal(0, 0.002))), 2.0, seconds) for _ in range(3)]
    result = calibrate_meter(catches)
    frequency, factor = np.array(result.curve).T
    np.testing.assert_allclose(frequency, [3.6, 7.43, 15.07], rtol=0.01)
    np.testing.assert_allclose(factor / 1e3, [432, 446, 452], rtol=0.004)
    assert any("a curve is used" in remark for remark in result.remarks)
    assert result.range_hz == pytest.approx((3.6, 15.07), rel=0.01)
    assert max(map(abs, result.residuals)) < 0.006
    assert any("between the flows" in part.name for part in result.uncertainty.components)


def test_a_tank_balance_does_not_hide_a_curve():
    timed = [catch(900, 2.0, 60.0), catch(901, 2.0, 60.0), catch(860, 2.0, 240.0), catch(861, 2.0, 240.0)]
    result = calibrate_meter([*timed, MeterCatch(8800, 20e-3, TANK)])
    np.testing.assert_allclose(result.curve, calibrate_meter(timed).curve, rtol=1e-9)
    assert len(result.curve) == 2
    assert result.residuals[4] == pytest.approx(440 / 440.25 - 1, abs=2e-3)
    assert any("left out" in remark for remark in result.remarks)


def test_no_curve_is_made_of_scatter():
    """A constant factor is taken for a curve in no more than the 5 % that the test allows (300 draws, seed fixed)."""
    rng = np.random.default_rng(11)
    curves = 0
    for _ in range(300):
        catches = [
            catch(round(9000 * (1 + rng.normal(0, 0.004))), 20.0, seconds) for seconds in (600, 600, 300, 300, 150, 150)
        ]
        curves += len(calibrate_meter(catches).curve) > 1
    assert curves / 300 < 0.05 + 2.6 * math.sqrt(0.05 * 0.95 / 300)


def test_the_expanded_uncertainty_covers_the_truth():
    """Of 400 seeded calibrations with everything drawn that can be wrong, the truth lies within U in 95 % or so."""
    rng = np.random.default_rng(3)
    jug = Vessel("jug", step_m3=20e-6, accuracy=0.01)
    covered = 0
    for _ in range(400):
        truth, scale = 450.0, 1 + rng.uniform(-0.01, 0.01)
        catches = []
        for _ in range(5):
            litres = rng.uniform(1.5, 2.5)
            pulses = int(truth * (1 + rng.normal(0, 0.006)) * litres + rng.uniform())
            read = round(litres * scale / 0.02) * 0.02
            catches.append(catch(pulses, read, 60.0, jug))
        result = calibrate_meter(catches)
        covered += abs(result.curve[0][1] / 450e3 - 1) <= result.uncertainty.expanded
    assert covered / 400 >= 0.93


@pytest.mark.parametrize("repeats", [1, 2, 3, 4])
@pytest.mark.parametrize("repeatability", [0.003, 0.01])
def test_few_repeats_do_not_make_it_surer_than_it_is(repeats, repeatability):
    """With a better or a worse meter on a balance, whose own part is small: 93 of 100 also from two catches."""
    rng = np.random.default_rng(7)
    balance = Vessel("balance", step_m3=1e-6, accuracy=0.003)
    covered, draws = 0, 300
    for _ in range(draws):
        scale = 1 + rng.uniform(-0.003, 0.003)
        catches = []
        for _ in range(repeats):
            litres = rng.uniform(1.5, 2.5)
            pulses = int(450 * (1 + rng.normal(0, repeatability)) * litres + rng.uniform())
            catches.append(catch(pulses, litres * scale, 60.0, balance))
        result = calibrate_meter(catches)
        covered += abs(result.curve[0][1] / 450e3 - 1) <= result.uncertainty.expanded
        assert result.uncertainty.expanded < 0.04
    assert covered / draws >= 0.93


def test_few_repeats_are_said():
    few = calibrate_meter([catch(900, litres) for litres in (2.000, 2.012)])
    assert any(remark.startswith("There are few repeats") for remark in few.remarks)
    enough = calibrate_meter([catch(900, litres) for litres in (2.000, 2.012, 1.993, 2.006, 1.998)])
    assert not any("few repeats" in remark for remark in enough.remarks)


def test_two_catches_that_cannot_both_be_right_are_said():
    """1,043 and 1,150 pulses in 2.31 L: 10 % apart."""
    result = calibrate_meter([catch(1043, 2.31, 55.0, GOOD_JUG), catch(1150, 2.31, 55.0, GOOD_JUG)])
    assert any(remark.startswith("Catches 1 and 2 differ by") for remark in result.remarks)


def test_no_curve_rests_on_a_single_catch():
    """Three flows once each, one of them 10 % wrong: a repeat is asked for before it makes a curve."""
    single = [catch(1043, 2.31, 92.0, GOOD_JUG), catch(1043, 2.31, 46.0, GOOD_JUG), catch(1150, 2.31, 25.0, GOOD_JUG)]
    result = calibrate_meter(single)
    assert len(result.curve) == 1
    assert 2 in result.repeat
    assert any("catches 1, 2 and 3 were not repeated: catch those flows again" in remark for remark in result.remarks)
    # The constant stays true to within its ±, for what the flows differ by is in it.
    assert result.uncertainty.expanded > abs(result.curve[0][1] / (1043 / 2.31e-3) - 1)


def test_two_flows_ask_for_a_third():
    two = [catch(900, 2.0, 60.0), catch(901, 2.0, 60.0), catch(860, 2.0, 240.0), catch(861, 2.0, 240.0)]
    assert any("Two flows cannot show a bend" in remark for remark in calibrate_meter(two).remarks)


def test_beyond_the_flows_caught_the_meter_is_known_less_well():
    meter = calibrate_meter([catch(900, 2.0, 45.0, GOOD_JUG)] * 3).meter()
    inside, half, double = (float(meter.relative_uncertainty_at(hz)) for hz in (20.0, 10.0, 40.0))
    assert inside == meter.relative_uncertainty
    assert half == double == pytest.approx(math.hypot(inside, 0.02))


def test_an_outlier_is_pointed_out_and_named():
    litres = [2.000, 2.006, 2.130, 1.998, 2.003]
    result = calibrate_meter([catch(900, one) for one in litres])
    assert result.outliers == (2,)
    assert any(remark.startswith("Catch 3 is -6.") for remark in result.remarks)


def test_good_catches_are_not_called_outliers():
    rng = np.random.default_rng(8)
    called = sum(
        bool(calibrate_meter([catch(900, 2 * (1 + rng.normal(0, 0.005))) for _ in range(6)]).outliers)
        for _ in range(200)
    )
    assert called / 200 < 0.05 + 2.6 * math.sqrt(0.05 * 0.95 / 200)


def test_catches_without_a_time_make_a_constant():
    result = calibrate_meter([MeterCatch(900, 2 * LITRE, GOOD_JUG), MeterCatch(905, 2 * LITRE, GOOD_JUG)])
    assert len(result.curve) == 1
    assert result.range_hz is None
    np.testing.assert_allclose(result.meter().pulses_per_m3([3, 300]), result.curve[0][1])


@pytest.mark.parametrize(
    ("catches", "says"),
    [
        ([], "no catch was given"),
        ([catch(0, 2.0)], "catch 1 has 0 pulses"),
        ([catch(900, 2.0), catch(900, 0.0)], "catch 2 has no volume"),
        ([catch(900, -2.0)], "catch 1 has no volume"),
        ([catch(900, float("nan"))], "catch 1 has no volume"),
        ([catch(900, 2.0, 0.0)], "catch 1 has no time"),
        ([catch(900, 2.0), catch(1800, 2.0)], "catches 1 and 2 differ 2-fold"),
        (
            [MeterCatch(4, 0.01 * LITRE, JUG_MARKS, 5.0) for JUG_MARKS in [Vessel("jug", 50e-6, 0.01)]],
            "smaller than what",
        ),
    ],
)
def test_what_is_no_catch_is_refused_in_one_sentence(catches, says):
    with pytest.raises(UserError, match=says):
        calibrate_meter(catches)


def test_one_factor_at_all_flows_is_no_curve():
    """Three catches at each of two flows, the same factor within 0.1 %: far below the repeatability assumed."""
    catches = [catch(900 + n, 2.0, seconds) for seconds in (60.0, 30.0) for n in (-1, 0, 1)]
    result = calibrate_meter(catches)
    assert len(result.curve) == 1
    assert any("the same at every flow" in remark for remark in result.remarks)
    assert not any("curve is used" in remark for remark in result.remarks)
