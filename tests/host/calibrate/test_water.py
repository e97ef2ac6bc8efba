import iapws
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.calibrate.vessels import Weighed
from host.calibrate.water import volume_of_weighed_water, water_density
from host.errors import UserError

ZERO_C = 273.15


@pytest.mark.parametrize(
    ("celsius", "printed"),
    [(1, 999.9017), (5, 999.9668), (10, 999.7027), (12, 999.5005), (15, 999.1026), (20, 998.2067),
     (22, 997.7730), (25, 997.0470), (30, 995.6488), (35, 994.0326), (40, 992.2152)],
)  # fmt: skip
def test_density_against_the_recommended_table(celsius, printed):
    """Tanaka et al., "Recommended table for the density of water between 0 °C and 40 °C", Metrologia 38 (2001) 301."""
    assert water_density(celsius + ZERO_C) == pytest.approx(printed, abs=5e-5)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.01, 40.0))
def test_density_against_the_iapws_library(celsius):
    theirs = iapws.IAPWS95(T=celsius + ZERO_C, P=0.101325).rho
    assert water_density(celsius + ZERO_C) == pytest.approx(theirs, abs=0.002)


@pytest.mark.parametrize("celsius", [10, 20, 30])
def test_density_against_the_nist_polynomial_for_water_with_air_in_it(celsius):
    """Jones & Harris, J. Res. NIST 97(3) 335-340, 1992 (coefficients second-hand); dissolved air makes up to 4 mg/L."""
    t = celsius
    nist = 999.85308 + 6.32693e-2 * t - 8.523829e-3 * t**2 + 6.943248e-5 * t**3 - 3.821216e-7 * t**4
    assert water_density(t + ZERO_C) == pytest.approx(nist, abs=0.005)


@pytest.mark.parametrize(("celsius", "z"), [(15, 1.0020), (20, 1.0029)])
def test_volume_per_weight_against_the_z_factors(celsius, z):
    """ISO 8655-6, Z factors in µL/mg at 101.3 kPa (from memory)."""
    assert volume_of_weighed_water(1.0, celsius + ZERO_C) * 1e3 == pytest.approx(z, abs=6e-5)


def test_a_litre_on_the_balance_is_not_a_kilogram():
    assert volume_of_weighed_water(1.0, 20 + ZERO_C) == pytest.approx(1.00285e-3, rel=1e-5)


@pytest.mark.parametrize("celsius", [-0.5, 41.0, 120.0])
def test_water_that_cannot_be_in_the_bucket(celsius):
    with pytest.raises(UserError, match="outside 0 to 40 °C"):
        water_density(celsius + ZERO_C)


def test_weighing():
    assert Weighed(1.5, 0.5).volume_m3() == pytest.approx(1.00285e-3, rel=1e-5)
    with pytest.raises(UserError, match="must be heavier"):
        Weighed(0.5, 0.5).volume_m3()
    with pytest.raises(UserError, match="must be heavier"):
        Weighed(0.5, -0.1).volume_m3()
