"""One gauge for the transducer's points and the catch test: its error is found, and what is left of it is stated."""

import math

import numpy as np
import pytest

from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.boom_card import as_shown, boom_card, boom_measured, run_over_catch
from host.calibrate.cards import apply_cards, make_card
from host.calibrate.gauge_fit import fit_gauge
from host.calibrate.kinds.pressure import pressure_measured, pressure_section
from host.calibrate.transducer import PressurePoint, calibrate_pressure
from host.calibrate.uncertainty import combine
from host.calibrate.vessels import JUG, Gauge
from host.review.card_marks import card_marks
from host.units import PSI_PA
from tests.bench.compare_keepers import MADE
from tests.host.calibrate.rigs import rig

BOOM = rig(4)
SPAN = 100 * PSI_PA


def fitted(shown, by_gauge, accuracy=3.0):
    return fit_gauge(
        [at * PSI_PA for at in shown], [at * PSI_PA for at in by_gauge], Gauge(accuracy_pa=accuracy * PSI_PA), SPAN
    )


def cards(off, test_psi, tool="", gauge_psi=3.0, jug=JUG):
    """Of a gauge that reads `off` psi more, wherever it is read; the catch test is another one's where `tool` is."""
    gauge = Gauge(accuracy_pa=gauge_psi * PSI_PA)
    points = [PressurePoint(0.0, 102.3)]
    points += [PressurePoint((at + off) * PSI_PA, 1023 * (0.1 + 0.008 * at)) for at in (20.0, 40.0)]
    line = calibrate_pressure(points, BOOM.pressure, 1023, gauge)
    reading = Reading(jug, gauge=Gauge(accuracy_pa=gauge_psi * PSI_PA, tool=tool))
    flow = float(BOOM.nozzles.flow_m3_s(test_psi * PSI_PA))
    test = catch_test([BoomCatch((test_psi + off) * PSI_PA, 60.0, (60.0 * flow,) * 4)], BOOM, None, reading)
    return [
        make_card("pressure", "R", MADE, pressure_section(line), pressure_measured(line, points, 1023)),
        make_card("boom", "R", MADE, {}, boom_measured(BOOM, test, reading)),
    ]


def test_a_gauge_that_is_off_everywhere_is_found_by_the_zero_that_it_did_not_read():
    fit = fitted((0, 20, 40), (0, 22, 42))
    assert fit.gauge_pa / PSI_PA == pytest.approx(2.0, abs=0.6)
    assert abs(fit.gauge_pa / PSI_PA - 2.0) < 2 * fit.gauge_u_pa / PSI_PA < 2.0
    # With one point beside the zero nothing shows it: known no better than told.
    alone = fitted((0, 20), (0, 22))
    assert alone.gauge_pa == pytest.approx(0.0, abs=1.0)
    assert alone.gauge_u_pa == pytest.approx(math.hypot(3 / math.sqrt(3), 1 / math.sqrt(12)) * PSI_PA, rel=1e-3)


def test_a_gauge_that_is_off_by_a_share_cancels():
    fit = fitted((0, 20, 40), (0, 21, 42))
    assert fit.gauge_pa == pytest.approx(0.0, abs=1.0)
    assert fit.shown_at(31.5 * PSI_PA) == pytest.approx(30 * PSI_PA)


@pytest.mark.parametrize(("run", "caught"), [(15, 15), (25, 40), (50, 20)])
def test_what_is_left_open_is_that_of_the_whole_covariance(run, caught):
    """Independent: the best linear prediction from the covariance of all readings, the line left free."""
    shown, read = np.array([0.0, 15, 30, 45]), np.array([0.0, 16, 31, 46])
    fit = fitted(shown, read)
    gauge, scatter2 = np.append(shown > 0, True), (fit.scatter[0] / PSI_PA) ** 2
    off2, step2 = 3.0**2 / 3 + 1 / 12, 1 / 12  # the eye's habit goes with the gauge
    at = np.append(shown, 0.0)
    line = 1e4 * (1.0 + np.outer(at, at) / 100)
    noise = np.diag(np.append(scatter2 + step2 * gauge[:-1], step2))
    readings = off2 * np.outer(gauge, gauge) + noise
    covariance = line[:-1, :-1] + readings[:-1, :-1]
    true_run, true_catch = fit.true_at(run * PSI_PA) / PSI_PA, fit.true_at(caught * PSI_PA) / PSI_PA
    along = 1e4 * (1.0 + run * np.append(shown, run) / 100)  # of the line where the run is, with all points and itself
    wanted = along[:-1] / true_run + off2 * gauge[:-1] / true_catch
    whole = along[-1] / true_run**2 + (off2 + step2) / true_catch**2
    expected = 0.5 * math.sqrt(whole - wanted @ np.linalg.solve(covariance, wanted))
    parts = [one for one in fit.parts(run * PSI_PA, caught * PSI_PA) if "hysteresis" not in one.name]
    assert combine(parts).standard == pytest.approx(expected, rel=0.03)


def test_what_the_gauge_is_off_is_taken_out_of_a_comparison_by_the_same_gauge_alone():
    for tool, left in (("", 0.015), ("another", 0.02)):
        made = cards(2.5, 15.0, tool)
        used = apply_cards(BOOM, made)
        test = as_shown(boom_card(made[1]), used.pressure, made)
        shown = float(used.pressure.pressure_pa(1023 * (0.1 + 0.008 * 15), 1023))
        flow = 4 * float(BOOM.nozzles.flow_m3_s(15 * PSI_PA))
        ratio = flow / math.sqrt(shown) / test.coefficient(shown)
        assert (test.fit is None) == bool(tool)
        assert (abs(ratio - 1.0) < left) == (not tool)
        assert abs(ratio - 1.0) < combine(run_over_catch(test, used, made, 20.0, shown)).expanded
        # Each nozzle's own coefficient goes with the boom's.
        assert sum(test.each[0]) == pytest.approx(test.points[0][1])


def test_a_season_takes_it_out_of_every_catch_test_by_that_gauge():
    """At 15 and 40 psi a gauge that reads 2.5 psi too much makes 7 and 3 % of a coefficient."""
    for tool in ("", "another"):
        low, high = cards(2.5, 15.0, tool), cards(2.5, 40.0, tool)
        marks = [mark for mark in card_marks([*low, high[1]]) if mark.kind == "boom"]
        assert len(marks) == 2
        apart = abs(marks[0].value - marks[1].value)
        assert apart > 0.04 if tool else apart < 0.02


def test_a_pressure_that_is_mostly_the_gauges_error_is_no_pressure_below_zero():
    fit = fitted((0, 20, 40), (0, 29, 49), accuracy=10)
    assert 0 < fit.shown_at(5 * PSI_PA) < 1.1 * PSI_PA
    assert all(math.isfinite(part.standard) for part in fit.parts(2 * PSI_PA, 1 * PSI_PA))


def test_a_gauge_that_is_told_to_be_perfect_divides_nothing_by_zero():
    fit = fit_gauge([0.0, 2e5, 4e5], [0.0, 2e5, 4e5], Gauge(0.0, 0.0), SPAN)
    assert fit.gauge_pa == pytest.approx(0.0, abs=1e-3)
    assert fit.gauge_u_pa == pytest.approx(1.0, rel=1e-3)
