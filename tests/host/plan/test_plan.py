import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.errors import UserError
from host.plan.area import parse_area
from host.plan.mix import Label, mix, product_for_active
from host.plan.pump import AGITATION, MARGIN, judge_pump, pump_need
from host.plan.rate import rate_table, solve, speed_limits
from host.rig import rig_from_toml
from tests.host.calibrate.rigs import FOUR_NOZZLES, rig

GALLON, ACRE, FOOT, PSI = 3.785411784e-3, 4046.8564224, 0.3048, 6894.757293168361
GPM, LB = GALLON / 60, 0.45359237
PINT, FLUID_OUNCE = GALLON / 8, GALLON / 128
RIG = rig()


def test_three_nozzles_and_a_nine_gallon_tank():
    """Common practice: 0.49 gpm each; 0.45 gpm for a solution, 1.125 for a suspension, 2.595 gpm in all."""
    solution = pump_need(3, 0.49 * GPM, 9 * GALLON, AGITATION["solution"])
    suspension = pump_need(3, 0.49 * GPM, 9 * GALLON, AGITATION["suspension"])
    assert solution.agitation_m3_s / GPM == pytest.approx(0.45)
    assert suspension.agitation_m3_s / GPM == pytest.approx(1.125)
    assert suspension.need_m3_s / GPM == pytest.approx(2.595)


def test_pump_with_its_margin():
    """20 % to spare: Grisso, Virginia Cooperative Extension 442-452; 18 nozzles and 200 gal chosen here."""
    assert MARGIN == 0.20
    need = pump_need(18, 0.4 * GPM, 200 * GALLON, AGITATION["suspension"], MARGIN)
    assert need.with_margin_m3_s / GPM == pytest.approx(38.64)


def test_the_verdict_on_the_pump():
    # The pump gives 4 gpm x (1 - P/70 psi); four nozzles 1.4 gpm at 40 psi; agitation 1.25 or 3.125 gpm.
    def verdict(psi, agitation):
        return judge_pump(RIG, agitation, psi * PSI).verdict

    assert verdict(40, 0.0) == "enough"  # 1.714 of 1.68 with margin
    assert verdict(42, 0.0) == "tight"  # 1.6 of 1.435
    assert verdict(40, 0.05) == "no agitation"
    assert verdict(60, 0.05) == "too small"  # 0.571 of 1.715
    assert judge_pump(RIG, 0.05).pressure_pa == pytest.approx(60 * PSI)
    gives = judge_pump(RIG, 0.05, 40 * PSI)
    assert gives.pump_m3_s / GPM == pytest.approx(4 * 30 / 70)
    heavier = judge_pump(RIG, 0.05, 40 * PSI, specific_gravity=1.28)
    assert heavier.need.nozzles_m3_s == pytest.approx(gives.need.nozzles_m3_s / math.sqrt(1.28))
    bare = rig_from_toml(RIG.toml.split("[pump]")[0] + "[boom]" + RIG.toml.split("[boom]")[1])
    assert judge_pump(bare, 0.05).verdict == "unknown"


@given(st.floats(0.3, 3.0), st.floats(16.0, 59.0), st.floats(0.8, 1.4))
def test_whatever_is_missing_is_found(speed, psi, gravity):
    whole = solve(RIG, speed_m_s=speed, pressure_pa=psi * PSI, specific_gravity=gravity)
    by_pressure = solve(RIG, rate_m3_m2=whole.rate_m3_m2, pressure_pa=psi * PSI, specific_gravity=gravity)
    by_speed = solve(RIG, rate_m3_m2=whole.rate_m3_m2, speed_m_s=speed, specific_gravity=gravity)
    by_flow = solve(RIG, nozzle_flow_m3_s=whole.nozzle_flow_m3_s, speed_m_s=speed, specific_gravity=gravity)
    assert by_pressure.speed_m_s == pytest.approx(speed)
    assert by_speed.pressure_pa == pytest.approx(psi * PSI)
    assert by_flow.pressure_pa == pytest.approx(psi * PSI)
    assert by_flow.rate_m3_m2 == pytest.approx(whole.rate_m3_m2)
    # GPA = 5940 gpm/(mph in): Oklahoma State University, "Sprayer Calibration".
    gpa = 5940 * (whole.nozzle_flow_m3_s / GPM) / (speed / 0.44704 * 20)
    assert whole.rate_m3_m2 / (GALLON / ACRE) == pytest.approx(gpa, rel=1e-9)


def test_a_rate_out_of_the_nozzles_range_says_which_speeds_would_do():
    low, high = speed_limits(RIG, RIG.target.rate_m3_m2)
    assert solve(RIG, rate_m3_m2=RIG.target.rate_m3_m2, speed_m_s=(low + high) / 2).warnings == ()
    fast = solve(RIG, rate_m3_m2=RIG.target.rate_m3_m2, speed_m_s=1.3 * high)
    assert "higher than the nozzle's range of 15.0 psi to 60.0 psi" in fast.warnings[0]
    assert "larger tips" in fast.warnings[0]
    slow = solve(RIG, rate_m3_m2=RIG.target.rate_m3_m2, speed_m_s=0.8 * low)
    assert "lower than" in slow.warnings[0]
    assert solve(RIG, rate_m3_m2=RIG.target.rate_m3_m2, pressure_pa=60 * PSI).speed_m_s == pytest.approx(high)
    assert "cannot feed all nozzles" in solve(RIG, speed_m_s=1.0, pressure_pa=58 * PSI).warnings[0]


def test_the_table_is_the_solver_over_and_over():
    speeds, pressures = [0.8, 1.0, 1.5], [20 * PSI, 40 * PSI]
    table = rate_table(RIG, speeds, pressures, 1.1)
    expected = [
        [solve(RIG, speed_m_s=v, pressure_pa=p, specific_gravity=1.1).rate_m3_m2 for v in speeds] for p in pressures
    ]
    np.testing.assert_allclose(table, expected)


def test_a_liquid_heavier_than_water_takes_the_pressure_of_its_water_equivalent():
    """University of Nebraska-Lincoln CropWatch, 2016: 20 GPA of 28 % nitrogen, 10.65 lb/gal, as 22.6 GPA of water."""
    speed = 4 * 0.44704
    heavy = solve(RIG, rate_m3_m2=20 * GALLON / ACRE, speed_m_s=speed, specific_gravity=10.65 / 8.34)
    water = solve(RIG, rate_m3_m2=22.6 * GALLON / ACRE, speed_m_s=speed)
    assert heavy.pressure_pa == pytest.approx(water.pressure_pa, rel=5e-3)  # twice the half digit printed
    flow = judge_pump(RIG, 0.05, 40 * PSI, specific_gravity=10.65 / 8.34).need.nozzles_m3_s
    assert flow * 1.13 == pytest.approx(4 * 0.35 * GPM, rel=5e-3)  # its factor, 1.13


def test_printed_mixes():
    """Sources OKC, WAX, ALTA, ALB and MSU of tests/published/sources.toml, in this order."""
    # 3.6 pt/acre on 25 acres is 11.25 gal; at 40 GPA 3.6 pt go into each 40 gal.
    job = mix("liquid", 3.6 * PINT / ACRE, 40 * GALLON / ACRE, 40 * GALLON, 25 * ACRE)
    assert job.product / GALLON == pytest.approx(11.25)
    assert job.full.product / PINT == pytest.approx(3.6)
    assert job.product_per_area / (FLUID_OUNCE / (1000 * FOOT**2)) == pytest.approx(1.3, abs=0.05)
    # 3.5 acres at 15 GPA take 52.5 gal, at 3 lb/acre 10.5 lb.
    job = mix("dry", 3 * LB / ACRE, 15 * GALLON / ACRE, 100 * GALLON, 3.5 * ACRE)
    assert (job.volume_m3 / GALLON, job.product / LB) == pytest.approx((52.5, 10.5))
    # 30 acres at 40 L/acre take 1200 L.
    assert mix("dry", 1e-6, 0.040 / ACRE, 1.0, 30 * ACRE).volume_m3 == pytest.approx(1.2)
    # 32 oz/acre at 20 GPA: 32 oz go into 20 gal.
    job = mix("liquid", 32 * FLUID_OUNCE / ACRE, 20 * GALLON / ACRE, 20 * GALLON, None)
    assert job.full.product / FLUID_OUNCE == pytest.approx(32)
    # A 300 gal tank at 10 GPA covers 30 acres.
    assert mix("dry", 1e-6, 10 * GALLON / ACRE, 300 * GALLON, None).area_m2 / ACRE == pytest.approx(30)


@given(st.floats(10, 5e4), st.floats(0.005, 0.3), st.floats(1e-5, 1e-3), st.floats(0.001, 0.9))
def test_tanks_add_up_to_the_job(area, tank, rate, share):
    job = mix("liquid", share * rate, rate, tank, area)
    loads = [job.full] * job.full_tanks + ([job.part] if job.part else [])
    assert len(loads) == job.tanks
    for name, total in (
        ("volume_m3", job.volume_m3),
        ("area_m2", area),
        ("product", job.product),
        ("water_m3", job.water_m3),
    ):
        assert sum(getattr(load, name) for load in loads) == pytest.approx(total, rel=1e-5)
    assert all(load.volume_m3 <= tank * (1 + 1e-5) for load in loads)
    assert job.product + job.water_m3 == pytest.approx(job.volume_m3)
    assert job.part is None or job.part.volume_m3 < tank


def test_an_area_of_whole_tanks_leaves_no_part_tank():
    job = mix("dry", 1e-4, 4e-5, 0.05, 3 * 0.05 / 4e-5)
    assert (job.full_tanks, job.part) == (3, None)


def test_what_a_measured_rate_means_as_product():
    job = mix("liquid", 2e-7, 4e-5, 0.05, 1000.0)
    assert job.product_at(4.4e-5) == pytest.approx(2.2e-7)


def test_label_limits_warn():
    label = Label(most_per_area=2e-7, most_per_season=5e-7)
    assert mix("liquid", 2e-7, 4e-5, 0.05, None, label=label).warnings == ()
    over = mix("liquid", 2.2e-7, 4e-5, 0.05, None, label=label).warnings
    assert over == ("This is 1.10 times what the label allows per application: do not spray it.",)
    season = mix("liquid", 2e-7, 4e-5, 0.05, None, label=label, used_this_season=4e-7).warnings
    assert "1.20 times what the label allows per season; 50 % of this application is left" in season[0]
    assert mix("liquid", 2e-7, 4e-5, 0.05, None, label=label, used_this_season=3e-7).warnings == ()


def test_product_from_active_ingredient():
    """a.i. x 100/%: 1.5 lb active per acre of a 50 % powder takes 3 lb (arithmetic)."""
    assert product_for_active(1.5, 0.5) == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("text", "square_feet", "within"),
    [
        ("60 ft x 25 ft", 1500, 1e-6),
        ("circle 80 ft", 5024, 2.6),  # printed with π = 3.14; true 5026.5
        ("triangle 30 ft x 26 ft", 390, 1e-6),
        ("1500 ft2", 1500, 1e-6),
        ("20 yd × 25 ft", 1500, 1e-6),
    ],
)
def test_printed_areas(text, square_feet, within):
    """Oklahoma State University-Oklahoma City, "Calibrating Application Equipment", 2013 (the first three)."""
    assert parse_area(text, "--area") / FOOT**2 == pytest.approx(square_feet, abs=within)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: pump_need(3, 0.0, 1.0, 0.05), "nozzle flow is not above zero"),
        (lambda: pump_need(3, 1e-5, -1.0, 0.05), "tank volume is not above zero"),
        (lambda: pump_need(3, 1e-5, 1.0, 5.0), "agitation must be"),
        (lambda: judge_pump(RIG, 0.05, specific_gravity=9), "specific gravity of 9"),
        (lambda: judge_pump(RIG, 0.05, -5.0 * PSI), "pressure is not above zero"),
        (
            lambda: judge_pump(rig_from_toml(FOUR_NOZZLES.format(nozzles=4).replace("range =", "# ")), 0.05),
            "--pressure",
        ),
        (lambda: solve(RIG, speed_m_s=1.0), "1 of rate, speed"),
        (lambda: solve(RIG), "0 of rate, speed"),
        (lambda: solve(RIG, speed_m_s=1.0, rate_m3_m2=4e-5, pressure_pa=2e5), "3 of rate, speed"),
        (lambda: solve(RIG, nozzle_flow_m3_s=1e-5, pressure_pa=2e5), "say the same"),
        (lambda: solve(RIG, speed_m_s=0.0, pressure_pa=2e5), "speed is not above zero"),
        (lambda: rate_table(RIG, [0.0], [1e5]), "above zero"),
        (lambda: mix("liquid", 0.0, 4e-5, 0.05, 10.0), "product per area is not above zero"),
        (lambda: mix("liquid", 5e-5, 4e-5, 0.05, 10.0), "more than the whole rate"),
        (lambda: mix("dry", 1.0, 4e-5, 0.05, -10.0), "area is not above zero"),
        (lambda: mix("dry", 1.0, 4e-5, 0.05, 10.0, used_this_season=-1.0), "cannot be below zero"),
        (lambda: product_for_active(1.0, 0.0), "active ingredient"),
        (lambda: parse_area("circle 80 ft x 20 ft", "--area"), "a circle has one length"),
        (lambda: parse_area("60 ft", "--area"), "not an area"),
        (lambda: parse_area("60 psi x 20 ft", "--area"), "not a length"),
        (lambda: parse_area("0 ft2", "--area"), "no area above zero"),
        (lambda: parse_area("", "--area"), "--area is"),
    ],
)
def test_what_cannot_be_planned(call, says):
    with pytest.raises(UserError, match=says):
        call()
