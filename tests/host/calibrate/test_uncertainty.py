import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.integrate
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from host.calibrate.gauge_fit import fit_line
from host.calibrate.travel import PACE_SPREAD, calibrate_course
from host.calibrate.uncertainty import (
    ASSUMED_DEGREES,
    Component,
    combine,
    pooled,
    rectangular,
    resolution,
    restless_degrees,
    sample_deviation,
    student_factor,
    triangular,
)
from host.calibrate.vessels import Gauge
from host.units import rounded_up

# JCGM 100:2008 (GUM), 4.4.3: twenty readings of a temperature (from memory).
READINGS = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
            100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72]  # fmt: skip


def test_the_guides_twenty_temperatures():
    s = sample_deviation(READINGS)
    assert s == pytest.approx(1.489, abs=5e-4)
    assert s / math.sqrt(20) == pytest.approx(0.333, abs=5e-4)
    assert s == pytest.approx(scipy.stats.tstd(READINGS), rel=1e-12)


def test_the_guides_distributions():
    assert rectangular(4.0) == pytest.approx(2.3, abs=0.05)  # GUM 4.4.5 (from memory): 96 to 104 °C
    assert resolution(1.0) == pytest.approx(0.29, abs=0.005)  # GUM F.2.2.1 (from memory)
    assert triangular(math.sqrt(6.0)) == pytest.approx(1.0)  # GUM 4.3.9


def test_the_guides_end_gauge():
    """GUM H.1 (from memory): components of 25, 9.7, 2.9 and 16.6 nm make 32 nm."""
    combined = combine([Component("a", 25.0), Component("b", 9.7), Component("c", 2.9), Component("d", 16.6)])
    assert combined.standard == pytest.approx(32, abs=0.5)


def test_a_50_ml_flask():
    """University of Tartu, "Uncertainty of 50 ml volumetric flask volume": 0.0669925368977769 mL."""
    parts = [rectangular(0.06), rectangular(0.09), rectangular(50 * 2.1e-4 * 4)]
    assert combine([Component("", part) for part in parts]).standard == pytest.approx(0.0669925368977769, rel=1e-12)


def test_the_temperature_part_of_a_100_ml_flask():
    """EURACHEM/CITAC, "Quantifying Uncertainty in Analytical Measurement", example A1 (from memory): 0.05 mL."""
    assert rectangular(100 * 2.1e-4 * 4) == pytest.approx(0.05, abs=0.005)


@pytest.mark.parametrize(
    ("level", "degrees", "printed"),
    [(0.90, 10, 1.812), (0.95, 10, 2.228), (0.95, 20, 2.086), (0.90, 30, 1.697), (0.95, 1, 12.706)],
)
def test_student_factors_of_the_nist_handbook(level, degrees, printed):
    """NIST/SEMATECH e-Handbook of Statistical Methods 1.3.6.7.2 (second-hand)."""
    assert student_factor(level, degrees) == pytest.approx(printed, abs=5e-4)


def test_normal_factors_of_technical_note_1297():
    """Taylor & Kuyatt, NIST Technical Note 1297, 4.3: 1.960 and 2.576."""
    assert student_factor(0.95, math.inf) == pytest.approx(1.960, abs=5e-4)
    assert student_factor(0.99, math.inf) == pytest.approx(2.576, abs=5e-4)


@given(st.floats(0.5, 0.999), st.integers(1, 1000))
def test_student_factors_against_scipy(level, degrees):
    assert student_factor(level, degrees) == pytest.approx(scipy.stats.t.ppf((1 + level) / 2, degrees), rel=1e-9)


@given(st.lists(st.tuples(st.floats(1e-6, 10), st.integers(1, 50)), min_size=1, max_size=6))
def test_combination_against_the_uncertainties_package(parts):
    combined = combine([Component(str(n), u, nu) for n, (u, nu) in enumerate(parts)])
    theirs = sum(ufloat(0, u) for u, _ in parts)
    assert combined.standard == pytest.approx(theirs.std_dev, rel=1e-9)
    welch = combined.standard**4 / sum(u**4 / nu for u, nu in parts)
    assert combined.degrees == pytest.approx(welch, rel=1e-9)
    assert combined.expanded == pytest.approx(combined.coverage * combined.standard)
    assert combined.coverage >= 1.9599


def test_what_is_only_estimated_from_few_values_needs_a_larger_factor():
    assert combine([Component("three catches", 1.0, 2)]).coverage == pytest.approx(4.303, abs=5e-4)
    assert combine([Component("scale", 1.0)]).coverage == pytest.approx(1.960, abs=5e-4)


def test_repeats_are_pooled_with_what_is_assumed():
    """GUM 4.2.4: variances by their degrees of freedom; the assumed one is good to 35 %, so it has 4 (G.4.2)."""
    few = [1.0, 1.6, 1.1]
    deviation, degrees = pooled(sample_deviation(few), 2, 0.5)
    assert (deviation**2, degrees) == pytest.approx(((2 * scipy.stats.tvar(few) + 4 * 0.25) / 6, 6.0))
    assert pooled(0.0, 0, 0.5) == (0.5, ASSUMED_DEGREES)
    assert pytest.approx(0.5 * 0.35**-2, rel=0.03) == ASSUMED_DEGREES


@given(st.integers(1, 30), st.floats(0.0, 0.02))
def test_one_more_repeat_that_agrees_never_widens(repeats, scatter):
    """No step where the assumed scatter ends, for it never does."""

    def of_mean(count):
        spread, degrees = pooled(scatter if count > 1 else 0.0, count - 1, 0.02)
        return combine([Component("mean", spread / math.sqrt(count), degrees)]).expanded

    assert of_mean(repeats + 1) <= of_mean(repeats) * (1 + 1e-12)


def test_the_guides_nearly_whole_degrees_are_not_cut():
    """GUM G.4.1, example (from memory): 0.25, 0.57, 0.82 % of 10, 5, 15 readings give 1.03 %, ν = 19, k = 2.09."""
    combined = combine([Component("a", 0.25, 9), Component("b", 0.57, 4), Component("c", 0.82, 14)])
    assert combined.standard == pytest.approx(1.03, abs=5e-3)
    assert combined.degrees == pytest.approx(19.0, abs=0.05)
    assert combined.coverage == pytest.approx(2.09, abs=5e-3)


def test_the_guides_end_gauge_with_its_degrees_of_freedom():
    """GUM H.1.6 (from memory): 25, 9.7, 2.9, 16.6 nm of 18, 25.6, 50, 2 degrees: ν = 16, t99 = 2.92, U99 = 93 nm."""
    parts = [(25.0, 18), (9.7, 25.6), (2.9, 50), (16.6, 2)]
    combined = combine([Component(str(u), u, nu) for u, nu in parts])
    assert int(combined.degrees) == 16
    factor = student_factor(0.99, combined.degrees)
    assert factor == pytest.approx(2.92, abs=5e-3)
    assert factor * combined.standard == pytest.approx(93, abs=1.0)


def test_the_guides_resistance_with_its_correlated_inputs():
    """GUM H.2 (from memory): V = 4.9990 V, I = 19.6610 mA, φ = 1.044 46 rad, u = 3.2 mV, 9.5 µA, 0.75 mrad.

    With r(V,I) = -0.36, r(V,φ) = 0.86, r(I,φ) = -0.65 the resistance is 127.732 Ω, u = 0.071 Ω. Correlated inputs are
    a sum of shared errors: the Cholesky factor of the correlations names them.
    """
    volt, ampere, phase = 4.9990, 19.6610e-3, 1.04446
    resistance = volt / ampere * math.cos(phase)
    correlation = np.array([[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]])
    sensitivity = [resistance / volt, -resistance / ampere, -volt / ampere * math.sin(phase)]
    errors = np.linalg.cholesky(correlation)
    parts = [
        Component(f"input {i}", s * u * errors[i, j], shared=f"error {j}")
        for i, (s, u) in enumerate(zip(sensitivity, (3.2e-3, 9.5e-6, 0.75e-3), strict=True))
        for j in range(3)
    ]
    assert resistance == pytest.approx(127.732, abs=5e-3)
    assert combine(parts).standard == pytest.approx(0.071, abs=1.5e-3)


def test_the_guides_thermometer_line():
    """GUM H.3 (from memory): correction b = y1 + y2·(t - 20 °C); y1 = -0.1712 °C, u = 0.0029; y2 = 0.002 18.

    Eleven thermometers read between 21.5 and 27 °C; the weights of our line at a place give u(b(30 °C)) = 0.0041 °C.
    """
    at = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    correction = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    line = fit_line([t - 20.0 for t in at], correction, Gauge(0.0, 0.0), 1.0)  # below zero: no gauge read any of them
    assert 1.0 + line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.offset_pa == pytest.approx(-0.1712, abs=5e-5)
    residuals = [b - line.offset_pa - (1.0 + line.slope) * (t - 20.0) for t, b in zip(at, correction, strict=True)]
    spread = math.sqrt(sum(r**2 for r in residuals) / 9)
    assert spread == pytest.approx(0.0035, abs=5e-5)
    assert spread * math.hypot(*line.weights_at(0.0)) == pytest.approx(0.0029, abs=5e-5)
    assert spread * math.hypot(*line.weights_at(10.0)) == pytest.approx(0.0041, abs=5e-5)


def test_what_is_shared_cancels_or_adds_by_its_sign():
    """GUM 5.2.2, note 1: with r = 1 the sum of the signed parts."""
    one = Component("meter: scale of the jug", 0.6, shared="jug: scale")
    assert combine([one, replace(one, standard=-0.6), Component("own", 0.3)]).standard == pytest.approx(0.3)
    assert combine([one, one]).standard == pytest.approx(1.2)
    assert combine([replace(one, shared=""), replace(one, shared="")]).standard == pytest.approx(0.6 * math.sqrt(2))


def test_what_is_shown_is_never_less_than_it_is():
    """GUM 7.2.6 (from memory): 10.47 mΩ is rounded up to 11 mΩ."""
    assert rounded_up(10.47, 0) == 11
    assert rounded_up(0.0139, 2) == 0.02
    assert rounded_up(0.02, 2) == 0.02


def held_by(half_width, limit, normal):
    """P(|R + N| ≤ half_width) by SciPy's quadrature: R even within ± limit, N normal."""

    def given(r):
        return scipy.stats.norm.cdf((half_width - r) / normal) - scipy.stats.norm.cdf((-half_width - r) / normal)

    return scipy.integrate.quad(given, -limit, limit, points=[half_width], limit=200)[0] / (2 * limit)


@given(st.floats(0.05, 20.0))
def test_an_even_error_is_convolved_with_the_rest(share):
    """JCGM 101:2008, 5.3: 95 % of the sum of an even and a normal error, whichever is larger."""
    combined = combine([Component("jug", rectangular(1.0), even=True), Component("rest", share / math.sqrt(3.0))])
    assert held_by(combined.expanded, 1.0, share / math.sqrt(3.0)) == pytest.approx(0.95, abs=1e-6)
    assert combined.expanded <= 1.96 * combined.standard * 1.003
    assert combined.coverage == pytest.approx(combined.expanded / combined.standard)


def test_an_even_error_alone_and_its_limits():
    """Of a jug that is right to 3 %, 95 % lie within 2.85 %, and never more than 3 %: not 1.96 × 1.73 = 3.4 %."""
    assert combine([Component("jug", rectangular(0.03), even=True)]).expanded == pytest.approx(0.0285)
    twice = [Component("jug", rectangular(0.03), shared="jug", even=True) for _ in range(2)]
    assert combine(twice).expanded == pytest.approx(0.057)
    gone = [twice[0], replace(twice[1], standard=-twice[1].standard), Component("rest", 1.0, 4)]
    assert combine(gone).expanded == pytest.approx(2.776, abs=1e-3)  # t of 4 degrees, as in any table


@given(st.floats(0.0, 3.0), st.integers(1, 30))
def test_a_small_even_error_changes_nothing_of_students_factor(size, degrees):
    alone = combine([Component("scatter", 1.0, degrees)]).expanded
    both = combine([Component("scatter", 1.0, degrees), Component("jug", size, even=True)]).expanded
    assert both >= alone * (1 - 1e-9)
    assert both <= alone + 1.96 * size


def test_an_assumption_steadies_little_what_it_is_small_beside():
    """Welch and Satterthwaite, GUM G.4.1: two equal variances share all their degrees, the larger one keeps its own."""
    assert restless_degrees(0.02, 7, 0.02) == pytest.approx(7 + ASSUMED_DEGREES)
    assert restless_degrees(1.0, 7, 1e-3) == pytest.approx(7.0, rel=1e-3)
    degrees = [restless_degrees(scatter, 7, 0.02) for scatter in (0.02, 0.03, 0.05, 0.2)]
    assert degrees == sorted(degrees, reverse=True)
    laps = [50.0, 57.0, 54.0, 60.0, 52.0, 55.0, 51.0, 58.0]
    own = sample_deviation(laps) / (sum(laps) / len(laps))
    pace = next(part for part in calibrate_course(60.0, laps).uncertainty.components if part.name.startswith("pace"))
    assert pace.degrees == pytest.approx(restless_degrees(own, 7, PACE_SPREAD)) and pace.degrees < 9.5
