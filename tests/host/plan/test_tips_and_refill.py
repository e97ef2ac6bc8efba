from dataclasses import replace

import pytest

from host.plan.rate_document import pressures_of
from host.plan.tips import SIZES
from host.rig import load_rig
from tests.host.plan.asking import METRIC, US, ask, ask_rig


def test_the_tip_for_a_rate_a_speed_and_a_pressure():
    """136.36 gpm/(mph in), turf bulletins: 1 gal/1000 ft² at 3 mph on 20 in takes 0.44 gpm a tip."""
    answer = ask_rig("plan", "tips", "--rate", "1 gal/1000 ft2", "--speed", "3 mph", "--pressure", "40 psi", "--json")
    assert answer.code == 0
    assert answer.json["rated_flow_gal_per_min"] == pytest.approx(3 * 20 / 136.364, rel=1e-5)
    assert answer.json["standard_size"] == 4
    best, *others = answer.json["tips"]
    # P ∝ Q²: 0.44 gpm from tips of 0.50 gpm at 40 psi.
    assert best["name"] == "05 flat fan"
    assert best["pressure_psi"] == pytest.approx(40 * (3 * 20 / 136.364 / 0.5) ** 2, rel=1e-5)
    assert best["range"] == "within"
    # 0.35 gpm at 40 psi would need 63.2 psi, beyond 60: 1.03 times too small.
    assert [tip["range"] for tip in others] == ["1.03 times too small", "1.83 times too small"]


def test_none_of_the_tips_fits():
    answer = ask_rig("plan", "tips", "--speed", "8 mph", "--json")
    assert answer.code == 1
    assert "none of yours" in answer.json["answer"]
    # 0.5 gpm at 40 psi passes 0.6124 gpm at 60 psi; 8 mph take 1.173 gpm.
    assert f"at least {8 * 20 / 136.364 / (0.5 * 1.5**0.5):.2f} times larger" in answer.json["warnings"][0]["text"]


def test_standard_sizes_are_tenths_of_a_gallon_a_minute_at_40_psi():
    """ISO 10625 (from memory); 0.4 L/min at 3 bar are size 01."""
    assert SIZES[0] == 1
    answer = ask_rig(
        "plan", "tips", "--speed", "4 km/h", "--rate", "4 L/100 m2", "--pressure", "3 bar", "--json", rig=METRIC
    )
    # 600 (L/min)/(km/h m): 400 L/ha at 4 km/h on 50 cm take 1.333 L/min, size 03 gives 1.2 and 035 1.38.
    assert answer.json["nozzle_flow_L_per_min"] == pytest.approx(400 * 4 * 0.5 / 600)
    assert answer.json["standard_size"] == 3.5
    assert "035" in ask_rig("plan", "tips", "--speed", "4 km/h", "--pressure", "3 bar", rig=METRIC).out


def test_tips_without_a_speed_ask_for_one():
    answer = ask_rig("plan", "tips")
    assert answer.code == 2 and "--speed is missing" in answer.err
    assert ask_rig("plan", "tips", rig=METRIC).code == 0  # it has a course


def test_the_rate_of_a_refill():
    """3 gal over 60 by 25 ft are 2 gal/1000 ft², twice the target (arithmetic)."""
    words = ("plan", "refill", "--volume", "3 gal", "--area", "60 x 25 ft", "--speed", "2 mph", "--pressure", "40 psi")
    answer = ask_rig(*words, "--json")
    assert answer.code == 1
    assert answer.json["rate_gal_per_1000_ft2"] == pytest.approx(2.0)
    assert answer.json["speed_mph"] == pytest.approx(4.0)
    assert answer.json["pressure_psi"] == pytest.approx(10.0)
    on_target = ask_rig("plan", "refill", "--volume", "1.5 gal", "--area", "1500 ft2", "--json")
    assert (on_target.code, on_target.json["on_target"]) == (0, True)
    assert "speed_mph" not in on_target.json
    # the edge of the band itself, 10 % over
    assert ask_rig("plan", "refill", "--volume", "1.65 gal", "--area", "1500 ft2", "--json").json["on_target"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--area", "1500 ft2"], "--volume is missing"),
        (["--volume", "3 gal"], "--area is missing"),
        (["--volume", "3 gal", "--area", ""], "--area is empty"),
        (["--volume", "9000 gal", "--area", "1 ft2"], "over a thousand times off"),
    ],
)
def test_what_is_no_refill(words, says):
    answer = ask("plan", "refill", "--rig", US, *words)
    assert (answer.code, answer.out) == (2, "") and says in answer.err
    # 1.512 gal are 0.8 % over, which rounds to 1.
    slightly = ask_rig("plan", "refill", "--volume", "1.512 gal", "--area", "1500 ft2").out
    assert "1 % over the target" in slightly
    assert "1 % under the target" in ask_rig("plan", "refill", "--volume", "1.488 gal", "--area", "1500 ft2").out


def test_how_much_too_large_a_tip_is():
    """At 1 mph and 20 in, 1 gal/1000 ft² takes 20/136.364 = 0.1467 gpm; Q = k √P at 15 psi, where these tips begin."""
    tips = ask_rig("plan", "tips", "--speed", "1 mph", "--pressure", "40 psi", "--json").json["tips"]
    ranges = {tip["name"]: tip["range"] for tip in tips}
    need, least = 20 / 136.364, (15 / 40) ** 0.5
    assert ranges["035 flat fan"] == f"{0.35 * least / need:.2f} times too large"
    assert ranges["05 flat fan"] == f"{0.50 * least / need:.2f} times too large"
    assert ranges["02 flat fan"] == "within"


@pytest.mark.parametrize(
    ("speed", "size"), [("1.7 km/h", 1.5), ("2.2 km/h", 2), ("2.9 km/h", 2.5), ("3.4 km/h", 3), ("4.6 km/h", 4)]
)
def test_the_size_is_the_one_whose_nominal_flow_is_next(speed, size):
    """Nominal at 3 bar, ISO 10625 (from memory): 015 0.59, 02 0.79, 025 0.98, 03 1.18, 04 1.58 L/min."""
    answer = ask_rig(
        "plan", "tips", "--speed", speed, "--rate", "4 L/100 m2", "--pressure", "3 bar", "--json", rig=METRIC
    )
    assert answer.json["standard_size"] == size


def test_a_tip_is_shown_over_its_range_or_the_usual_one():
    rig = load_rig(US)
    fan = next(tip for tip in rig.tips if tip.name == "05 flat fan")
    psi = 6894.757  # NIST SP 811
    assert [p / psi for p in pressures_of(fan)] == pytest.approx([15, 26.25, 37.5, 48.75, 60])
    anywhere = replace(fan, min_pressure_pa=None, max_pressure_pa=None)
    assert [p / psi for p in pressures_of(anywhere)] == pytest.approx([15, 36.25, 57.5, 78.75, 100])
