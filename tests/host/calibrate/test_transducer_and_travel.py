import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from host.calibrate.transducer import SCATTER, PressurePoint, calibrate_pressure
from host.calibrate.travel import SLIP, calibrate_course, calibrate_wheel
from host.calibrate.vessels import Gauge
from host.errors import UserError
from tests.bench.bench_coverage import of_pressure
from tests.host.calibrate.rigs import rig

PSI = 6894.757293168361
SENSOR = rig().pressure
FOOT = 0.3048


def points(*pairs):
    return [PressurePoint(psi * PSI, counts) for psi, counts in pairs]


def calibrate(*pairs, gauge=None):
    return calibrate_pressure(points(*pairs), SENSOR, 1023, gauge or Gauge())


def test_the_line_and_its_scatter_are_those_of_scipy():
    pairs = [(0, 108), (20, 270), (40, 437), (60, 598), (80, 764)]
    result = calibrate(*pairs, gauge=Gauge(0.0, 0.0))  # beside nothing else that is open
    psi, counts = np.array(pairs, dtype=float).T
    theirs = scipy.stats.linregress(counts / 1023, psi)
    line = theirs.intercept + theirs.slope * counts / 1023
    np.testing.assert_allclose(result.sensor.pressure_pa(counts, 1023) / PSI, line, atol=1e-4)
    np.testing.assert_allclose(np.array(result.residuals_pa) / PSI, line - psi, atol=1e-4)
    scatter = next(part for part in result.uncertainty.components if "scatter" in part.name)
    assert scatter.degrees == 7
    squares = np.sum((psi - theirs.intercept - theirs.slope * counts / 1023) ** 2)
    span = (result.sensor.high_pa - result.sensor.low_pa) / PSI
    spread = np.sqrt((squares + 4 * (SCATTER * span) ** 2) / 7)
    at = (80 - theirs.intercept) / theirs.slope - np.mean(counts / 1023)
    of_line = np.sqrt(1 / 5 + at**2 / np.sum((counts / 1023 - np.mean(counts / 1023)) ** 2))
    assert scatter.standard / PSI == pytest.approx(spread * of_line)
    assert float(result.sensor.uncertainty_at(80 * PSI)) >= result.uncertainty.expanded / 2


def test_beyond_the_highest_point_the_pressure_is_known_less_well():
    low = calibrate((0, 102.3), (15, 225.1), (30, 347.8), gauge=Gauge(accuracy_pa=2 * PSI)).sensor
    assert float(low.uncertainty_at(60 * PSI)) > 1.9 * float(low.uncertainty_at(30 * PSI))
    assert float(low.uncertainty_at(0.0)) < 0.5 * float(low.uncertainty_at(30 * PSI))  # zero was read without the gauge


def test_the_zero_alone_owes_nothing_to_a_gauge():
    before = replace(SENSOR, uncertainty_pa=0.01 * (SENSOR.high_pa - SENSOR.low_pa))
    fine, coarse = (
        calibrate_pressure(points((0, 112.0)), before, 1023, Gauge(accuracy_pa=psi * PSI)) for psi in (0.1, 5.0)
    )
    assert fine.uncertainty == coarse.uncertainty
    assert fine.sensor.gain_uncertainty == pytest.approx(0.01, rel=0.02)


def test_zero_alone_moves_the_line_and_keeps_its_slope():
    result = calibrate((0, 112.0), (0, 113.0))
    assert float(result.sensor.pressure_pa(112.5, 1023)) == pytest.approx(0, abs=1e-3)
    per_count = 100 * PSI / (0.8 * 1023)
    assert float(result.sensor.pressure_pa(212.5, 1023)) == pytest.approx(100 * per_count)
    assert "Only the zero" in result.remarks[0]


def test_two_points_fix_the_line_and_assume_the_rest():
    result = calibrate((0, 102.3), (50, 511.5))
    assert (result.sensor.low_pa, result.sensor.high_pa) == pytest.approx((0, 100 * PSI), abs=1e-3)
    assert any("take a third" in remark for remark in result.remarks)
    assert result.sensor.open_below == pytest.approx(0.05)
    assert result.sensor.short_above == pytest.approx(0.95)


def test_what_no_point_shows_of_the_gauge_is_said():
    """A gauge that is worse than told is a row of `bench_coverage` that must carry this."""
    said = of_pressure((0, 20, 40, 60), (20, 55), 3.0, "mixed", told=2.0)
    assert all(said(np.random.default_rng(seed)).said for seed in range(5))


def test_a_wrong_range_is_remarked():
    assert "+50 % off" in calibrate((0, 102.3), (75, 511.5)).remarks[0]


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        ([], "no point was given"),
        ([(0, 2000)], "between 0 and 1023"),
        ([(0, 3)], "open or shorted"),
        ([(0, 1020)], "open or shorted"),
        ([(-5, 100)], "point 1 has a pressure below zero"),
        ([(0, 300), (40, 301)], "hardly differ"),
        ([(0, 500), (40, 200)], "counts fall"),
        ([(0, 108), (20, 270), (40, 270), (60, 598)], "on no line, point 3"),
    ],
)
def test_points_that_fix_no_line(pairs, says):
    with pytest.raises(UserError, match=says):
        calibrate(*pairs)


def test_wheel_way_per_pulse_and_its_uncertainty():
    pulses = [508, 510, 506, 509, 508]
    result = calibrate_wheel(200 * FOOT, pulses)
    assert result.metres_per_pulse == pytest.approx(200 * FOOT / np.mean(pulses))
    slip = next(part for part in result.uncertainty.components if part.name == "slip of the wheel")
    seen = scipy.stats.tstd(pulses) / np.mean(pulses)
    assert slip.standard == pytest.approx(math.sqrt((4 * seen**2 + 4 * SLIP**2) / 8 / 5))
    assert slip.degrees == 8
    assert result.wheel().metres_per_pulse == result.metres_per_pulse


@pytest.mark.parametrize("passes", [2, 3, 5])
def test_wheel_and_pace_cover_the_truth_from_few_passes(passes):
    """In 93 of 100 seeded draws: tape within 0.2 %, slip 0.4 %, pace 2 %, stopwatch 0.2 s."""
    rng = np.random.default_rng(4)
    draws, wheel, pace = 400, 0, 0
    for _ in range(draws):
        course = 60.0 * (1 + rng.uniform(-0.002, 0.002))
        pulses = [int(course / (0.12 * (1 + rng.normal(0, 0.004))) + rng.uniform()) for _ in range(passes)]
        found = calibrate_wheel(60.0, pulses)
        wheel += abs(found.metres_per_pulse / 0.12 - 1) <= found.uncertainty.expanded
        times = [course / (1.1 * (1 + rng.normal(0, 0.02))) + rng.normal(0, 0.2) for _ in range(passes)]
        walked = calibrate_course(60.0, times)
        pace += abs(1.1 * (1 + rng.normal(0, 0.02)) / walked.speed_m_s - 1) <= walked.uncertainty.expanded
    assert wheel / draws >= 0.93
    assert pace / draws >= 0.93


def test_wheel_rolled_once_or_slipping():
    assert "Only one lap" in calibrate_wheel(30.0, [254]).remarks[0]
    assert calibrate_wheel(30.0, [254, 254]).uncertainty.standard > 0.001
    assert calibrate_wheel(30.0, [254, 231, 255]).remarks[0].startswith("Lap 2 is -6.4 % off")


def test_a_magnet_that_starts_at_the_same_place_is_not_averaged_away():
    twelve = calibrate_wheel(60.0, [50] * 12, 0.0)
    pulse = next(part for part in twelve.uncertainty.components if part.name == "± 1 pulse")
    assert pulse.standard == pytest.approx(1 / math.sqrt(6) / 50)


def test_each_pass_that_agrees_makes_the_pace_surer():
    stated = [calibrate_course(60.0, [54.0] * passes).uncertainty.expanded for passes in range(1, 13)]
    assert all(after < before for before, after in itertools.pairwise(stated))
    run = calibrate_course(60.0, [54.0, 52.0, 56.0])
    assert run.mean.expanded < run.uncertainty.expanded
    assert run.course().uncertainty_in_run(1) == pytest.approx(run.uncertainty.expanded / 2)
    assert run.course().uncertainty_in_run(1e9) == pytest.approx(run.mean.expanded / 2, rel=0.02)


def test_200_ft_in_55_s():
    """Common practice: 3.64 ft/s, 2.48 mph."""
    result = calibrate_course(200 * FOOT, [55.0])
    assert result.speed_m_s / FOOT == pytest.approx(3.64, abs=0.005)
    assert result.speed_m_s / 0.44704 == pytest.approx(2.48, abs=0.005)


def test_the_uncertainty_of_a_pace_is_that_of_one_more_pass():
    times = [55.0, 54.0, 56.5, 54.5]
    result = calibrate_course(60.0, times)
    assert result.spread == pytest.approx(np.std(times, ddof=1) / np.mean(times))
    assert result.uncertainty.standard > result.spread
    assert result.course().speed_m_s == pytest.approx(60.0 / np.mean(times))
    assert "varies by 1" in calibrate_course(60.0, [50.0, 60.0]).remarks[0]


def test_no_number_of_laps_promises_a_steadier_walker():
    """Twelve laps or a thousand: one more of them varies as its walker does."""
    times = [55.0, 53.9, 56.1, 54.6] * 3
    result = calibrate_course(60.0, times)
    scatter = np.std(times) / np.mean(times)
    pace = result.uncertainty.largest
    assert result.uncertainty.without(pace).expanded >= 1.96 * scatter


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: calibrate_wheel(0.0, [100]), "no length above zero"),
        (lambda: calibrate_wheel(30.0, []), "no lap was given"),
        (lambda: calibrate_wheel(30.0, [250, 0]), "lap 2 has 0 pulses"),
        (lambda: calibrate_course(60.0, [0.0]), "lap 1 took 0 s"),
        (lambda: calibrate_course(60.0, [55.0, -1.0]), "lap 2 took -1 s"),
        (lambda: calibrate_course(float("nan"), [55.0]), "no length above zero"),
        (lambda: calibrate_course(60.0, [55.0, 5.5]), "laps 2 and 1 differ 10-fold in time"),
        (lambda: calibrate_wheel(30.0, [250, 520]), "laps 1 and 2 differ 2.1-fold in pulses"),
    ],
)
def test_what_is_no_course(call, says):
    with pytest.raises(UserError, match=says):
        call()
