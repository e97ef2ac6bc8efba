import math

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from host.calibrate.uncertainty import (
    ASSUMED_DEGREES,
    Component,
    combine,
    pooled,
    rectangular,
    resolution,
    sample_deviation,
    student_factor,
    triangular,
)

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


def test_few_repeats_are_pooled_with_what_is_assumed():
    """GUM 4.2.4: variances by their degrees of freedom; the assumed one has 2 (G.4.2: known to half of itself)."""
    few, many = [1.0, 1.6, 1.1], [1.0, 1.6, 1.1, 1.3, 0.9]
    deviation, degrees = pooled(sample_deviation(few), 2, 0.5)
    assert (deviation**2, degrees) == pytest.approx(((2 * scipy.stats.tvar(few) + 2 * 0.25) / 4, 4.0))
    assert pooled(sample_deviation(many), 4, 0.5) == (sample_deviation(many), 4.0)
    assert pytest.approx(0.5 * 0.5**-2) == ASSUMED_DEGREES
