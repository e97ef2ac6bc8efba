import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.errors import UserError
from host.plan.rate import Boom, beyond_range, rate_table, solve, speed_limits
from tests.host.calibrate.rigs import rig
from tests.host.plan.asking import METRIC, US, ask_rig

GALLON, ACRE, PSI = 3.785411784e-3, 4046.8564224, 6894.757293168361
GPM = GALLON / 60
RIG = rig()
BOOM = Boom(RIG.nozzles, RIG.swath_m)


@given(st.floats(0.3, 3.0), st.floats(16.0, 59.0), st.floats(0.8, 1.4))
def test_whatever_is_missing_is_found(speed, psi, gravity):
    boom = Boom(RIG.nozzles, RIG.swath_m, gravity)
    whole = solve(boom, speed_m_s=speed, pressure_pa=psi * PSI)
    by_pressure = solve(boom, rate_m3_m2=whole.rate_m3_m2, pressure_pa=psi * PSI)
    by_speed = solve(boom, rate_m3_m2=whole.rate_m3_m2, speed_m_s=speed)
    by_flow = solve(boom, nozzle_flow_m3_s=whole.nozzle_flow_m3_s, speed_m_s=speed)
    assert [each.found for each in (whole, by_pressure, by_speed)] == ["rate", "speed", "pressure"]
    assert by_pressure.speed_m_s == pytest.approx(speed)
    assert by_speed.pressure_pa == pytest.approx(psi * PSI)
    assert by_flow.pressure_pa == pytest.approx(psi * PSI)
    assert by_flow.rate_m3_m2 == pytest.approx(whole.rate_m3_m2)
    # GPA = 5940 gpm/(mph in): Oklahoma State University, "Sprayer Calibration".
    gpa = 5940 * (whole.nozzle_flow_m3_s / GPM) / (speed / 0.44704 * 20)
    assert whole.rate_m3_m2 / (GALLON / ACRE) == pytest.approx(gpa, rel=1e-9)


def test_the_table_is_the_solver_over_and_over():
    speeds, pressures = [0.8, 1.0, 1.5], [20 * PSI, 40 * PSI]
    boom = Boom(RIG.nozzles, RIG.swath_m, 1.1)
    expected = [[solve(boom, speed_m_s=v, pressure_pa=p).rate_m3_m2 for v in speeds] for p in pressures]
    np.testing.assert_allclose(rate_table(boom, speeds, pressures), expected)


def test_a_liquid_heavier_than_water_takes_the_pressure_of_its_water_equivalent():
    """University of Nebraska-Lincoln CropWatch, 2016: 20 GPA of 28 % nitrogen, 10.65 lb/gal, as 22.6 GPA of water."""
    heavy = ask_rig("plan", "rate", "--rate", "20 GPA", "--speed", "4 mph", "--density", "10.65 lb/gal", "--json")
    water = ask_rig("plan", "rate", "--rate", "22.6 GPA", "--speed", "4 mph", "--json")
    # twice the half digit printed
    assert heavy.json["pressure_psi"] == pytest.approx(water.json["pressure_psi"], rel=5e-3)
    for same in ("1.277", "1.276 kg/L", "10.65 lb/gal", "1276 g/L"):
        other = ask_rig("plan", "rate", "--rate", "20 GPA", "--speed", "4 mph", "--density", same, "--json")
        assert other.json["pressure_psi"] == pytest.approx(heavy.json["pressure_psi"], rel=1e-3), same


def test_a_limit_reached_exactly_is_within_the_range():
    low, high = RIG.nozzles.min_pressure_pa, RIG.nozzles.max_pressure_pa
    assert beyond_range(low, low, high) == beyond_range(high, low, high) == 1
    assert beyond_range(math.nextafter(high, math.inf), low, high) == 1
    assert beyond_range(1.001 * high, low, high) == pytest.approx(1.001)
    assert ask_rig("plan", "rate", "--rate", "1 gal/1000 ft2", "--pressure", "60 psi").code == 0
    assert ask_rig("plan", "rate", "--rate", "1 gal/1000 ft2", "--pressure", "60.1 psi").code == 1


def test_out_of_range_says_which_speeds_and_how_much_larger_tips_would_do():
    low, high = speed_limits(BOOM, RIG.target.rate_m3_m2)
    assert solve(BOOM, rate_m3_m2=RIG.target.rate_m3_m2, pressure_pa=60 * PSI).speed_m_s == pytest.approx(high)
    assert low < high
    # 4 mph over four nozzles of 0.35 gpm at 40 psi: 136.36 gpm/(mph in) as in turf bulletins, then P ∝ Q².
    wanted_gpm = 4 * 20 / 136.36
    pressure = 40 * (wanted_gpm / 0.35) ** 2
    answer = ask_rig("plan", "rate", "--speed", "4 mph", "--json")
    assert answer.code == 1
    assert answer.json["pressure_psi"] == pytest.approx(pressure, rel=1e-4)
    (warning,) = answer.json["warnings"]
    assert f"at least {(pressure / 60) ** 0.5:.2f} times larger" in warning["text"]
    assert "15.0 psi to 60.0 psi" in warning["text"]
    assert "lower than the tips' range" in ask_rig("plan", "rate", "--speed", "1 mph").out


def test_without_a_stated_range_a_single_point_still_has_limits(tmp_path):
    """A tip stated at 40 psi is used from 15 to 100 psi (common practice); P ∝ Q² would promise any rate."""
    text = Path(US).read_text(encoding="utf-8")
    silent = tmp_path / "silent.toml"
    silent.write_text(text.replace('range = ["15 psi", "60 psi"]', ""), encoding="utf-8")
    assert "range" not in silent.read_text(encoding="utf-8")
    fast = ask_rig("plan", "rate", "--speed", "8 mph", "--json", rig=str(silent))
    assert fast.code == 1
    assert fast.json["answer"].startswith("These tips do not give 1.00 gal/1000 ft² at 8.00 mph")
    assert "15.0 psi to 100.0 psi, where tips stated at 40.0 psi are usually used" in fast.json["warnings"][0]["text"]
    assert ask_rig("plan", "rate", "--speed", "3.5 mph", "--json", rig=str(silent)).code == 0
    none = ask_rig("plan", "tips", "--speed", "8 mph", "--json", rig=str(silent))
    assert none.code == 1 and "none of yours does it" in none.json["answer"]
    assert ask_rig("plan", "pump", "--json", rig=str(silent)).json["pressure_psi"] == pytest.approx(40)


def test_warnings_stand_in_the_units_that_were_asked_for():
    answer = ask_rig("plan", "rate", "--speed", "4 mph", "--units", "metric")
    assert " bar is higher than the tips' range" in answer.out
    assert "psi" not in answer.out and "mph" not in answer.out


def test_what_to_walk_and_to_catch_by():
    answer = ask_rig("plan", "rate", "--speed", "2.5 mph", "--course", "200 ft", "--catch-time", "1 min", "--json").json
    aims = answer["targets"]
    # 200 ft at 2.5 mph take 54.5 s, and each of the nozzles 46.9 fl oz a minute for 1 gal/1000 ft² (arithmetic).
    assert aims["course_time_s"] == pytest.approx(200 / (2.5 * 88 / 60), rel=1e-6)
    assert aims["catch_fl_oz"] == pytest.approx(128 * 2.5 * 20 / 136.3636, rel=1e-5)
    # 20 in spacing: a course of 204 ft, and ounces are gallons per acre (LSU AgCenter, "Ounces Equal Gallons").
    assert aims["jug_course_ft"] == pytest.approx(204.19, abs=0.01)
    assert aims["jug_course_catch_fl_oz"] == pytest.approx(answer["field_rate_gal_per_acre"], rel=1e-9)
    # Each step is 30 in: 2.5 mph are 220 ft a minute, 88 steps.
    assert aims["beats_per_minute"] == pytest.approx(88)


def test_the_course_and_the_speed_come_from_the_rig_where_it_has_them():
    """60 m in 54 s are 4 km/h; 4 L/100 m² over 2 m then take 5.33 L/min, 3.7 bar by the square root from 3 bar."""
    for words in ([], ["--rate", "4 L/100 m2"], ["--speed", "4 km/h"]):
        answer = ask_rig("plan", "rate", *words, "--json", rig=METRIC).json
        assert answer["speed_km_per_h"] == pytest.approx(4.0)
        assert answer["pressure_bar"] == pytest.approx(3.0 * (4 * 4 * 2 / 6 / 4 / 1.20) ** 2)
        assert answer["targets"]["course_time_s"] == pytest.approx(54.0)
        # on 10 m² a jug's millilitres are the litres per hectare
        assert answer["targets"]["jug_course_catch_mL"] == pytest.approx(400.0)
    nothing = ask_rig("plan", "rate")
    assert (nothing.code, nothing.out) == (2, "") and "give a speed or a pressure" in nothing.err


def test_a_band_is_as_wide_as_it_is_told():
    """12 in bands of nozzles on 36 in rows: the rate on the band is that of 12 in spacing (common practice)."""
    banded = ask_rig("plan", "rate", "--speed", "3 mph", "--pressure", "40 psi", "--band", "12 in", "--json").json
    assert banded["field_rate_gal_per_acre"] == pytest.approx(5940 * 0.35 / (3 * 12), rel=1e-4)


def test_three_given_point_to_the_tips():
    three = ask_rig("plan", "rate", "--rate", "1 GPA", "--speed", "1 mph", "--pressure", "9 psi")
    assert three.code == 2 and "ask which tips do it" in three.err


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: solve(BOOM, speed_m_s=1.0), "1 of rate, speed"),
        (lambda: solve(BOOM), "0 of rate, speed"),
        (lambda: solve(BOOM, speed_m_s=1.0, rate_m3_m2=4e-5, pressure_pa=2e5), "3 of rate, speed"),
        (lambda: solve(BOOM, nozzle_flow_m3_s=1e-5, pressure_pa=2e5), "say the same"),
        (lambda: solve(BOOM, speed_m_s=0.0, pressure_pa=2e5), "speed is not above zero"),
        (lambda: rate_table(BOOM, [0.0], [1e5]), "above zero"),
    ],
)
def test_what_cannot_be_planned(call, says):
    with pytest.raises(UserError, match=says):
        call()


def test_a_speed_that_no_small_sprayer_has_is_asked_about():
    assert "is unusual for a small sprayer" in ask_rig("plan", "rate", "--speed", "20 mph").out


def test_example_rigs_pass_their_own_plans():
    for rig_file in ("us", "metric"):
        file = {"us": None, "metric": METRIC}[rig_file]
        words = {"rig": file} if file else {}
        for mix in ("suspension", "solution"):
            answer = ask_rig("plan", "pump", "--mix", mix, "--json", **words)
            assert (answer.code, answer.json["verdict"]) == (0, "enough")
        assert ask_rig("plan", "rate", *([] if file else ["--pressure", "40 psi"]), **words).code == 0
