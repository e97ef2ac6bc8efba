"""The truth beside a run: mass balance, and rates that published tables give for the same settings."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from host.rig import rig_from_toml
from host.simulate.disturbances import Disturbance
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource, run_frames, run_lines
from host.simulate.settings import MeterSettings, WalkSettings
from host.simulate.truth import truth, write_truth
from tests.host.simulate.made import QUIET, RIG, one_pass, rig
from tests.host.simulate.random_rigs import healthy_scenario, small_rig

ACRE_M2 = 4046.8564224
GALLON_M3 = 231 * 0.0254**3
MPH = 0.44704


def run_to_end(scenario: object, seed: int = 3) -> ScenarioSource:
    source = ScenarioSource(scenario, np.random.default_rng(seed))  # type: ignore[arg-type]
    run_frames(source)
    return source


def test_published_boom_rate() -> None:
    """480 oz/min = 3.75 gal/min over 222 in at 5 mph is 20 gal/acre.

    "Calibrating your sprayer", Albany County Weed & Pest, Wyoming; its inputs give 20.07.
    """
    boom = rig(nozzles=12, spacing="18.5 in", flow="0.3125 gpm", pump="12 gpm", tank="100 gal")
    walk = WalkSettings(passes=1, length_m=400.0, pace_m_s=5 * MPH, variation=0.0)
    source = run_to_end(one_pass(seconds=1000.0, rig=boom, walk=walk))
    rate = truth(source.sprayer)["passes"][0]["rate_m3_m2"]
    assert rate / GALLON_M3 * ACRE_M2 == pytest.approx(20.07, rel=0.005)


def test_rate_of_a_timed_course() -> None:
    """1300 mL from each of three nozzles on 20 in in 55 s over 200 ft is 1.03 gal/1000 ft² (common practice)."""
    boom = rig(flow=f"{1300 / 55 * 60 / 1000:.6f} L/min")
    walk = WalkSettings(passes=1, length_m=200 * 0.3048, pace_m_s=200 * 0.3048 / 55, variation=0.0)
    source = run_to_end(one_pass(seconds=1000.0, rig=boom, walk=walk))
    rate = truth(source.sprayer)["rate_m3_m2"] / GALLON_M3 * 1000 * 0.3048**2
    assert rate == pytest.approx(1.03, rel=0.012)  # setting off takes the pass 0.4 s longer


def test_what_left_the_tank_is_what_was_sprayed_and_leaked() -> None:
    walk = WalkSettings(passes=3, length_m=30.0)
    scenario = one_pass(Disturbance("leak", 20.0, amount=0.1), seconds=1e4, walk=walk, quiet=False)
    source = run_to_end(scenario)
    gone = scenario.rig.tank.volume_m3 - source.sprayer.tank_left_m3
    assert gone == pytest.approx(source.sprayer.sprayed_m3 + source.sprayer.leaked_m3, rel=1e-9)
    assert sum(one["volume_m3"] for one in truth(source.sprayer)["passes"]) == pytest.approx(source.sprayer.sprayed_m3)


def test_a_refill_fills_the_tank_and_every_litre_is_accounted_for() -> None:
    walk = WalkSettings(passes=4, length_m=40.0, refill_after=(2,), refill_s=20.0)
    scenario = one_pass(seconds=1e4, walk=walk, rig=rig(tank="3 gal"))
    told = truth(run_to_end(scenario).sprayer)
    assert told["dry_since_s"] is None
    after = sum(one["volume_m3"] for one in told["passes"][2:])
    assert told["tank_left_m3"] == pytest.approx(scenario.rig.tank.volume_m3 - after, rel=1e-6)


def test_pulses_and_truth_agree_over_the_packaged_twenty_minutes() -> None:
    """Volume by Σ n / K(f) and distance by wheel pulses, both within 0.3 % of the truth of the scenario."""
    source = ScenarioSource(load_scenario("twenty-minutes"))
    frames = run_frames(source)
    meter = source.scenario.rig.meter
    pulses, edge = frames["flow_count"].astype(np.int64), frames["flow_edge"].astype(np.int64)
    new = np.diff(pulses)
    frequency = new / np.maximum(np.diff(edge), 1) * 1e6
    volume = np.sum(new / meter.pulses_per_m3(frequency))
    told = truth(source.sprayer)
    assert volume == pytest.approx(told["volume_m3"], rel=0.003)
    assert frames["wheel_count"][-1] * 0.12 == pytest.approx(told["distance_m"], rel=0.003)
    assert len(told["passes"]) == 22
    assert len(told["refills"]) == 1


def test_the_exported_curve_calibrates_a_crooked_meter() -> None:
    """With the curve of the truth in the rig file the rig's meter is the true one, at every frequency."""
    meter = MeterSettings(deviation=((10.0, -0.04), (25.0, 0.01), (50.0, 0.03)))
    scenario = one_pass(**{**QUIET, "meter": meter})
    told = truth(ScenarioSource(scenario).sprayer)
    words = {
        "tank": "25 gal",
        "pump": "3 gpm",
        "shutoff": "90 psi",
        "nozzles": 3,
        "spacing": "20 in",
        "span": "100 psi",
    }
    calibrated = rig_from_toml(RIG.format(**words, flow="0.3 gpm", at="40 psi", meter=told["meter_curve_toml"]))
    for hertz, factor in ((10, 450e3 * 0.96), (17.5, 450e3 * 0.985), (50, 450e3 * 1.03)):
        assert float(calibrated.meter.pulses_per_m3(hertz)) == pytest.approx(factor, rel=1e-5)


def test_truth_is_json_with_units_in_its_keys(tmp_path: Path) -> None:
    source = ScenarioSource(load_scenario("clog-in-third-pass"))
    for _ in run_lines(source):
        pass
    write_truth(tmp_path / "run.truth.json", source.sprayer)
    told = json.loads((tmp_path / "run.truth.json").read_text(encoding="utf-8"))
    (clog,) = told["disturbances"]
    assert clog["kind"] == "clog"
    assert clog["is_fault"] is True
    assert told["passes"][2]["begin_s"] + 10 == pytest.approx(clog["begin_s"])
    assert clog["end_s"] == pytest.approx(clog["begin_s"] + 133)
    rates = [one["rate_m3_m2"] for one in told["passes"]]
    assert max(rates[2:5]) < 0.95 * min(*rates[:2], *rates[5:])
    quantities = {key for key, value in told.items() if isinstance(value, float)} - {"clock_error"}
    assert all(key.endswith(("_m3", "_m2", "_m", "_s", "_pa")) for key in quantities)


def test_a_run_cut_short_tells_the_truth_so_far() -> None:
    source = ScenarioSource(load_scenario("demo"))
    source.due(60.0)
    told = truth(source.sprayer)
    assert told["simulated_s"] < told["duration_s"]
    assert len(told["passes"]) == 2
    assert told["passes"][-1]["end_s"] == pytest.approx(told["simulated_s"])


def test_healthy_scenarios_are_healthy_differ_and_repeat() -> None:
    made = [healthy_scenario(small_rig(5, 0.2, 2000), np.random.default_rng(seed), 0.25) for seed in (1, 1, 2)]
    assert made[0].walk == made[1].walk
    assert made[0].walk != made[2].walk
    told = truth(run_to_end(made[0]).sprayer)
    assert told["dry_since_s"] is None
    assert told["simulated_s"] == pytest.approx(900.0)
    assert not any(event["is_fault"] for event in told["disturbances"])
    lengths = np.array([one["end_s"] - one["begin_s"] for one in told["passes"]])
    assert lengths.min() > 5
    assert lengths.max() < 100


@pytest.mark.parametrize("nozzles", [2, 3, 5, 8])
@pytest.mark.parametrize("factor", [450, 1000, 2000, 6000])
def test_drawn_rigs_spray_at_their_set_pressure(nozzles: int, factor: float) -> None:
    source = run_to_end(one_pass(rig=small_rig(nozzles, 0.2, factor), seconds=20.0))
    assert source.sprayer.sprayed_m3 / 19.0 == pytest.approx(nozzles * 0.2 * GALLON_M3 / 60, rel=0.01)
