import numpy as np
import pytest
import scipy.stats

from host.calibrate.transducer import Gauge, PressurePoint, calibrate_pressure
from host.calibrate.travel import calibrate_course, calibrate_wheel
from host.errors import UserError
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
    result = calibrate(*pairs)
    psi, counts = np.array(pairs, dtype=float).T
    theirs = scipy.stats.linregress(counts / 1023, psi)
    np.testing.assert_allclose(
        result.sensor.pressure_pa(counts, 1023) / PSI, theirs.intercept + theirs.slope * counts / 1023
    )
    np.testing.assert_allclose(
        np.array(result.residuals_pa) / PSI, theirs.intercept + theirs.slope * counts / 1023 - psi
    )
    scatter = next(part for part in result.uncertainty.components if "scatter" in part.name)
    assert scatter.degrees == 3
    spread = np.sqrt(np.sum((psi - theirs.intercept - theirs.slope * counts / 1023) ** 2) / 3)
    assert scatter.standard / PSI == pytest.approx(spread)
    assert result.sensor.uncertainty_pa == result.uncertainty.standard


def test_zero_alone_moves_the_line_and_keeps_its_slope():
    result = calibrate((0, 112.0), (0, 113.0))
    assert float(result.sensor.pressure_pa(112.5, 1023)) == pytest.approx(0, abs=1e-6)
    per_count = 100 * PSI / (0.8 * 1023)
    assert float(result.sensor.pressure_pa(212.5, 1023)) == pytest.approx(100 * per_count)
    assert "Only the zero" in result.remarks[0]


def test_two_points_fix_the_line_and_assume_the_rest():
    result = calibrate((0, 102.3), (50, 511.5))
    assert (result.sensor.low_pa, result.sensor.high_pa) == pytest.approx((0, 100 * PSI), abs=1e-6)
    assert any("assumed" in part.name for part in result.uncertainty.components)
    assert result.sensor.open_below == pytest.approx(0.05)
    assert result.sensor.short_above == pytest.approx(0.95)


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
    passes = next(part for part in result.uncertainty.components if part.name == "passes")
    assert passes.standard == pytest.approx(scipy.stats.sem(pulses) / np.mean(pulses))
    assert passes.degrees == 4
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
    assert "Only one pass" in calibrate_wheel(30.0, [254]).remarks[0]
    assert calibrate_wheel(30.0, [254, 254]).uncertainty.standard > 0.001
    assert calibrate_wheel(30.0, [254, 240, 255]).remarks[0].startswith("Pass 2 is -3.9 % off")


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


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: calibrate_wheel(0.0, [100]), "no length above zero"),
        (lambda: calibrate_wheel(30.0, []), "no pass was given"),
        (lambda: calibrate_wheel(30.0, [250, 0]), "pass 2 has 0 pulses"),
        (lambda: calibrate_course(60.0, [0.0]), "pass 1 took 0 s"),
        (lambda: calibrate_course(60.0, [55.0, -1.0]), "pass 2 took -1 s"),
        (lambda: calibrate_course(float("nan"), [55.0]), "no length above zero"),
        (lambda: calibrate_course(60.0, [55.0, 5.5]), "passes 2 and 1 differ 10-fold in time"),
        (lambda: calibrate_wheel(30.0, [250, 520]), "passes 1 and 2 differ 2.1-fold in pulses"),
    ],
)
def test_what_is_no_course(call, says):
    with pytest.raises(UserError, match=says):
        call()
