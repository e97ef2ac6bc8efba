"""The texts on the screen against numbers worked out by hand from the units' definitions."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from dashboards.live.screen import DASH, band_position, blank_row, clock, deviation, number, screen_row, two_digits
from dashboards.live.trace import Trace
from dashboards.web.templates import render
from host.pipeline import ADVICE
from host.pipeline.faults import Fault

GALLON_M3 = 231 * 0.0254**3  # NIST Handbook 44, Appendix C
RATE_1 = GALLON_M3 / (1000 * 0.3048**2)  # 1 gal/1000 ft²


def live(**changes: Any) -> dict[str, Any]:
    """A live row: 1.05 gal/1000 ft² at a target of 1.00, 2.5 mph, 40 psi."""
    row = {
        "frame": 41,
        "host_s": 4.1,
        "rate_m3_m2": 1.05 * RATE_1,
        "rate_u_m3_m2": 0.02 * RATE_1,
        "target_m3_m2": RATE_1,
        "band_low_m3_m2": 0.9 * RATE_1,
        "band_high_m3_m2": 1.1 * RATE_1,
        "advice": "on target",
        "spraying": True,
        "moving": True,
        "pace_wanted_m_s": 2.6 * 0.44704,
        "flow_m3_s": 1.4 * GALLON_M3 / 60,
        "pressure_pa": 40 * 6894.757,  # NIST SP 811, Appendix B
        "speed_m_s": 2.5 * 0.44704,
        "tank_left_m3": 12.34 * GALLON_M3,
        "tank_low_m3": 2.0 * GALLON_M3,
        "tank_covers_m2": 11752 * 0.3048**2,
        "area_m2": 12500 * 0.3048**2,
        "volume_m3": 3.21 * GALLON_M3,
        "distance_m": 100.0,
        "pass_number": 3,
        "pass_distance_m": 134 * 0.3048,
        "in_pass": True,
        "off_target_s": 75.0,
        "standing_s": 0.0,
        "standing_m3": 0.0,
        "unassigned_m3": 0.0,
        "keep_m_s": None,
    }
    return row | changes


def test_a_row_in_us_units() -> None:
    row = screen_row(live(), "us")
    assert (row["rate"], row["rate_unit"], row["rate_spread"]) == ("1.05", "gal/1000 ft²", "± 0.04")
    assert (row["target"], row["band_low"], row["band_high"]) == ("1.00", "0.90", "1.10")
    assert (row["off_by"], row["off_side"], row["position"]) == ("5 %", "over", 0.5)
    assert (row["pace"], row["pace_wanted"], row["pace_unit"]) == ("2.5", "2.6", "mph")
    assert (row["flow"], row["pressure"]) == ("1.40", "40.0")
    assert (row["tank"], row["covers"]) == ("12.3", "covers 12,000 ft²")
    assert (row["area"], row["pass"], row["pass_length"]) == ("12,500", "3", "134 ft so far")
    assert (row["off_target"], row["stood"]) == ("1:15", "")


def test_a_row_in_metric_units() -> None:
    row = screen_row(live(), "metric")
    # 1 gal/1000 ft² = 3.785411784 L / 92.90304 m² = 4.0746 L/100 m²
    assert (row["rate"], row["rate_unit"]) == ("4.28", "L/100 m²")
    assert (row["pace"], row["pace_unit"]) == ("4.0", "km/h")
    assert (row["pressure"], row["tank"]) == ("2.76", "46.7")


def test_a_tank_with_more_out_of_it_than_was_in_it_asks_for_the_refill() -> None:
    dry = screen_row(live(tank_left_m3=-0.02 * GALLON_M3, volume_m3=13.0 * GALLON_M3, tank_covers_m2=0.0), "us")
    assert (dry["tank"], dry["covers"]) == ("0.0", "Should be empty")  # within what meter and marks may be off
    untold = screen_row(live(tank_left_m3=-1.5 * GALLON_M3, volume_m3=14.5 * GALLON_M3, tank_covers_m2=0.0), "us")
    assert (untold["tank"], untold["covers"]) == ("–", "Did you refill? Tap Refilled")


def test_a_low_tank_is_said_at_the_level_of_ones_choice() -> None:
    left = 1.9 * GALLON_M3
    low = screen_row(live(tank_left_m3=left, tank_covers_m2=left / RATE_1), "us")
    assert (low["tank_state"], low["covers"]) == ("low", "Low: covers 1,900 ft²")
    enough = screen_row(live(tank_left_m3=2.1 * GALLON_M3), "us")
    assert enough["tank_state"] == ""
    assert screen_row(live(tank_left_m3=left, tank_low_m3=1.0 * GALLON_M3), "us")["tank_state"] == ""


def test_missing_numbers_are_dashes() -> None:
    missing = dict.fromkeys(("rate_m3_m2", "rate_u_m3_m2", "pace_wanted_m_s", "pressure_pa", "tank_covers_m2"))
    row = screen_row(live(**missing), "us")
    assert (row["rate"], row["pace_wanted"], row["pressure"]) == ("–", "–", "–")
    assert (row["rate_spread"], row["off_by"], row["off_side"], row["covers"], row["position"]) == (
        "",
        "",
        "",
        "",
        None,
    )


def test_standing_is_told_with_what_went_down() -> None:
    row = screen_row(live(advice="standing still: stop spraying", standing_s=8, standing_m3=0.19 * GALLON_M3), "us")
    assert row["words"] == "Stop spraying"
    assert row["standing"] == "0:08 standing still, 0.19 gal"


CLOG = Fault(1, "clog", (), 0.99, 10.0, 10.3, None, -0.25, 0.01, 1.0, 0.04, 30.0, True)
WHEEL = Fault(2, "wheel_stuck", (), 0.99, 10.0, 10.3, None, float("nan"), None, None, None, 30.0, False)


@pytest.mark.parametrize("advice", ["on target", "walk faster", "slow down", "raise the pressure", "rate not known"])
def test_under_a_fault_that_spoils_the_ground_the_largest_word_is_stop_and_no_speed_is_asked_for(advice):
    row = screen_row(live(advice=advice, faults=[CLOG.row(20.0)]), "us")
    assert (row["advice"], row["words"], row["pace_wanted"]) == ("stop", "Stop", DASH)
    assert row["pressure"] != DASH


def test_nobody_who_has_stopped_is_told_to_stop():
    assert screen_row(live(advice="not spraying", faults=[CLOG.row(20.0)]), "us")["advice"] == "idle"


def test_a_first_word_that_may_be_taken_back_stops_nobody():
    first_word = replace(CLOG, provisional=True)
    assert screen_row(live(advice="on target", faults=[first_word.row(20.0)]), "us")["advice"] == "hold"


@pytest.mark.parametrize("advice", ["on target", "walk faster", "slow down"])
def test_a_sensor_that_failed_does_not_stop_the_work_and_nobody_is_steered_by_it(advice):
    row = screen_row(live(advice=advice, faults=[WHEEL.row(20.0)]), "us")
    assert row["fault"] and (row["words"], row["pace_wanted"]) == ("Rate in doubt", DASH)


def test_a_meter_that_reads_low_or_a_clog_stops_the_work_for_slowing_down_would_be_too_much_either_way():
    """At 3 of 4 nozzles' flow and the same pressure, three quarters of the pace puts 4/3 of the target down: below
    the three nozzles that spray, or, where it is the meter, below all."""
    either = replace(CLOG, kind="meter_low", or_else=("clog",), sure=0.6)
    row = screen_row(live(advice="slow down", faults=[either.row(20.0)]), "us")
    assert (row["words"], row["pace_wanted"]) == ("Stop", DASH)


def test_a_leak_that_may_be_a_lost_tip_stops_the_work():
    row = screen_row(
        live(advice="walk faster", faults=[replace(CLOG, kind="leak", or_else=("lost_tip",)).row(20.0)]), "us"
    )
    assert row["words"] == "Stop"


def test_an_older_clog_still_stops_the_work_below_a_newer_fault_of_the_transducer():
    newer = replace(CLOG, number=3, kind="transducer_open")
    row = screen_row(live(advice="slow down", faults=[CLOG.row(20.0), newer.row(20.0)]), "us")
    assert (row["fault_number"], row["words"]) == (3, "Stop")


@pytest.mark.parametrize("advice", ADVICE)
def test_every_advice_of_the_pipeline_has_its_words(advice: str) -> None:
    row = screen_row(live(advice=advice), "us")
    assert row["advice"] in {"hold", "faster", "slower", "lower", "raise", "idle", "standing", "wait"}
    assert row["words"][0].isupper()


def test_the_page_asks_for_nothing_that_no_row_has() -> None:
    wanted = set(re.findall(r'data-field="(\w+)"', render("live/page.html")))
    from_recorder = {"recording_words", "link_words", "elapsed", "run", "pace_label", "aside"}
    assert wanted - from_recorder <= set(screen_row(live(), "us"))
    assert set(blank_row("us")) == set(screen_row(live(), "us"))


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "0:00"), (59.9, "0:59"), (754, "12:34"), (3600, "1:00:00"), (None, "–"), (float("nan"), "–")],
)
def test_clock(seconds: float | None, text: str) -> None:
    assert clock(seconds) == text


def test_small_numbers_have_no_minus_zero() -> None:
    assert number(-1e-9, "volume", "us") == "0.00"
    assert number(-GALLON_M3, "volume", "us") == "-1.00"


def test_deviation_and_place_in_the_band() -> None:
    assert deviation(1.0, 1.0) == ("0 %", "off")
    assert deviation(0.82, 1.0) == ("18 %", "under")
    assert band_position(0.9, 1.0, 1.1) == -1.0
    assert band_position(None, 1.0, 1.1) is None
    assert band_position(1.0, 1.0, 1.0) is None


def test_trace_keeps_a_minute_at_a_fifth_of_a_second_ten_at_two_seconds_and_both_ends_of_gaps() -> None:
    trace = Trace()
    for tenth in range(10_000):
        trace.add(tenth / 10, None if 5000 <= tenth < 5003 or 9500 <= tenth < 9503 else 0.1)
    points = trace.points()
    assert points[0][0] == pytest.approx(400.0, abs=2.1)
    assert points[-1][0] == pytest.approx(999.8, abs=0.11)
    assert len([time_s for time_s, _ in points if time_s >= 940.0]) == pytest.approx(301, abs=5)
    assert len([time_s for time_s, _ in points if time_s < 939.0]) == pytest.approx(270, abs=5)
    for gap in (500.0, 950.0):
        around = [place for time_s, place in points if gap - 2.3 < time_s < gap + 2.6]
        assert None in around and around[0] == 0.1 and around[-1] == 0.1
    assert points == sorted(points, key=lambda point: point[0])


def test_what_is_not_assigned_stands_beside_what_was_sprayed() -> None:
    assert screen_row(live(), "us")["sprayed"] == "3.2 gal sprayed"
    apart = screen_row(live(unassigned_m3=0.25 * GALLON_M3), "us")
    assert apart["sprayed"] == "3.2 gal sprayed, 0.25 gal not assigned"


@pytest.mark.parametrize(
    ("square_feet", "shown"), [(12_566, "13,000"), (949, "950"), (9.96, "10"), (3.14, "3.1"), (0, "0")]
)
def test_what_the_tank_covers_has_two_digits(square_feet: float, shown: str) -> None:
    assert two_digits(square_feet * 0.3048**2, "area", "us") == shown


def test_without_a_wheel_the_pressure_is_steered_and_the_speed_is_the_one_to_keep() -> None:
    row = screen_row(live(advice="lower the pressure", keep_m_s=2.0 * 0.44704), "us")
    assert (row["words"], row["pace_wanted"]) == ("Lower pressure", "2.0")
