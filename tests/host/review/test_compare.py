"""A run against a catch test, and against another run, with the simulator's truth."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import uncertainties

from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.boom_card import as_shown, boom_card, boom_measured, run_over_catch
from host.calibrate.cards import apply_cards, make_card, save_card
from host.calibrate.shared_errors import line_of
from host.calibrate.uncertainty import Component
from host.calibrate.vessels import JUG, Gauge
from host.cli.main import main
from host.errors import UserError
from host.journal import RunFile
from host.review.compare import (
    AGREES,
    CATCH_AGAIN,
    CLOGGED,
    WORN_OR_DRIFTED,
    judged,
    run_against_catch,
    run_against_run,
)
from host.review.deciding import shows_loss, would_decide
from host.review.review import review_of
from host.simulate.disturbances import Disturbance
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import MeterSettings, WalkSettings
from host.units import PSI_PA
from tests.host.calibrate.rigs import rig as boom_of
from tests.host.calibrate.test_gauge_fit import cards
from tests.host.library.made import write
from tests.host.pipeline.made import IDENTITY

DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)
RIG = load_scenario("demo").rig


def frames_with(*events, meter=0.0, seed=11):
    scenario = replace(
        load_scenario("demo"),
        seed=seed,
        disturbances=events,
        walk=WalkSettings(passes=5, length_m=38.0),
        meter=MeterSettings(deviation=((10.0, meter), (45.0, meter))),
    )
    return run_frames(ScenarioSource(scenario))


def reviewed(*events, **options):
    return review_of(RunFile(Path("run.sward"), frames=frames_with(*events, **options), events=[IDENTITY]), RIG)


def catch_card(factor=1.0, made=DAY - timedelta(days=3), reading=None):
    """What a jug caught of nozzles that give `factor` times their rating, at 30 and 50 psi for a minute."""
    catches = [
        BoomCatch(psi * PSI_PA, 60.0, (float(RIG.nozzles.flow_m3_s(psi * PSI_PA)) * 60.0 * factor,) * 4)
        for psi in (30.0, 50.0)
    ]
    reading = reading or Reading()
    return make_card("boom", RIG.name, made, {}, boom_measured(RIG, catch_test(catches, RIG, None, reading), reading))


@pytest.fixture(scope="module")
def healthy():
    return reviewed()


def test_a_healthy_run_agrees_with_its_catch_test(healthy):
    result = run_against_catch(healthy, boom_card(catch_card()))
    assert result.verdict == AGREES
    assert result.ratio == pytest.approx(1.0, abs=result.uncertainty.expanded)


def test_the_uncertainty_is_that_of_the_uncertainties_package(healthy):
    result = run_against_catch(healthy, boom_card(catch_card()))
    # Independent: the same parts as numbers with a standard deviation, multiplied as the ratio is made.
    product = 1.0
    for part in result.uncertainty.components:
        product = product * uncertainties.ufloat(1.0, abs(part.standard))
    assert result.uncertainty.standard == pytest.approx(product.std_dev, rel=1e-6)


@pytest.mark.parametrize(
    ("events", "meter", "verdict", "ratio"),
    [
        ((Disturbance("wear", 0.0, amount=0.12, nozzles=4),), 0.0, WORN_OR_DRIFTED, 1.12),
        ((), 0.12, WORN_OR_DRIFTED, 1.12),
        ((Disturbance("clog", 0.0, amount=0.6, nozzles=1),), 0.0, CLOGGED, 0.85),
    ],
)
def test_what_is_wrong_is_said_with_the_size_it_has(events, meter, verdict, ratio):
    result = run_against_catch(reviewed(*events, meter=meter), boom_card(catch_card()))
    assert result.verdict == verdict
    assert result.ratio == pytest.approx(ratio, abs=ratio * result.uncertainty.expanded)


def test_nozzles_that_were_worn_when_caught_agree():
    worn = reviewed(Disturbance("wear", 0.0, amount=0.12, nozzles=4))
    assert run_against_catch(worn, boom_card(catch_card(1.12))).verdict == AGREES


def test_too_little_known_is_no_verdict():
    assert judged(1.3, 0.15, 4)[0] == CATCH_AGAIN
    assert "75 %" in judged(0.76, 0.03, 4)[1]


def test_a_pressure_knob_does_not_look_like_wear(healthy):
    turned = reviewed(Disturbance("knob", 0.0, amount=25 * PSI_PA))
    assert run_against_run(healthy, turned).verdict == "no change"


def test_runs_before_and_after_cleaning(healthy):
    result = run_against_run(reviewed(Disturbance("clog", 0.0, amount=0.3, nozzles=1)), healthy)
    assert result.verdict == "changed"
    assert result.ratio == pytest.approx(1 / (1 - 0.3 / 4), abs=result.ratio * result.uncertainty.expanded)
    # With one calibration for both, the meter's own 1 % cancels.
    assert not any("meter" in part.name for part in result.uncertainty.components)


def test_healthy_runs_agree_with_each_other_about_as_often_as_stated(healthy):
    ratios = [run_against_run(healthy, reviewed(seed=seed)) for seed in range(40, 60)]
    assert sum(one.verdict == "no change" for one in ratios) >= 18


def test_a_run_that_changed_on_the_way_is_said_to_have(healthy):
    changed = run_against_run(healthy, reviewed(Disturbance("clog", 0.0, pass_number=3, amount=1.0)))
    assert any("later run: pass 3 left out" in one or "later run: passes 3" in one for one in changed.remarks)
    assert not any("earlier run: its passes" in one for one in changed.remarks)


def test_a_clog_in_some_passes_is_told_with_their_numbers_and_the_others_agree():
    clogged = reviewed(Disturbance("clog", 2.0, pass_number=3, amount=1.0, lasts_s=400.0))
    result = run_against_catch(clogged, boom_card(catch_card()))
    assert result.verdict == "clogged in some passes"
    assert "clogged nozzle in pass" in result.advice and "with the catch test" in result.advice
    assert result.ratio == pytest.approx(1.0, abs=0.04)


def test_what_cannot_be_compared_is_told(healthy):
    with pytest.raises(UserError, match="transducer"):
        run_against_catch(replace(healthy, rig=replace(RIG, pressure=None)), boom_card(catch_card()))
    with pytest.raises(UserError, match="nozzles"):
        run_against_catch(healthy, replace(boom_card(catch_card()), nozzles=3))
    other = replace(healthy, rig=replace(RIG, nozzles=replace(RIG.nozzles, count=8)))
    with pytest.raises(UserError, match="4 and 8 nozzles"):
        run_against_run(healthy, other)
    with pytest.raises(UserError, match="cannot be read"):
        boom_card(make_card("boom", RIG.name, DAY, {}, {"nozzles": 4}))


def test_the_command(tmp_path, capsys):
    frames = frames_with()
    write(tmp_path / "first.sward", frames, RIG.toml, DAY)
    write(
        tmp_path / "clogged.sward",
        frames_with(Disturbance("clog", 0.0, amount=0.6)),
        RIG.toml,
        DAY + timedelta(hours=1),
    )
    assert main(["compare", "first", "--runs", str(tmp_path)]) == 2
    save_card(catch_card(), tmp_path / "cards")
    save_card(catch_card(1.5, DAY + timedelta(days=9)), tmp_path / "cards")
    assert main(["compare", "first", "--runs", str(tmp_path)]) == 0
    printed = capsys.readouterr().out
    assert "Agrees." in printed and "11 May 2026" in printed
    assert main(["compare", "first", "clogged", "--runs", str(tmp_path), "--json"]) == 1
    out = json.loads(capsys.readouterr().out)
    assert out["ratio"] == pytest.approx(0.85, abs=0.03)
    assert np.isfinite(out["ratio_expanded_uncertainty"])
    assert main(["season", "--runs", str(tmp_path), "--json"]) in (0, 1)
    assert json.loads(capsys.readouterr().out)["runs"] == 2


def test_a_pressure_read_by_the_same_line_cancels(healthy):
    """GUM 5.2.2: run and catch test read by one transducer have its error in common; another line's is its own."""
    sensor = replace(RIG.pressure, uncertainty_pa=1.0 * PSI_PA, gain_uncertainty=0.02)
    rig = replace(RIG, pressure=sensor)
    run = replace(healthy, rig=rig)
    own, other = (
        run_against_catch(
            run, boom_card(catch_card(reading=Reading(transducer_pa=1.3 * PSI_PA, transducer=line)))
        ).uncertainty
        for line in (line_of(sensor), "of another day")
    )
    named = {part.name: abs(part.standard) for part in own.components}
    assert named["transducer: zero, at two pressures"] < 0.5 / 30 - 0.5 / 50
    # 0.15 % of 100 psi at about 40 psi, halved, for the flow goes with the root.
    assert named["transducer: hysteresis (assumed)"] == pytest.approx(0.5 * 0.15 / 40, rel=0.3)
    assert not any(name.endswith("transducer") for name in named)
    assert other.standard**2 - own.standard**2 > (0.5 * 1.0 / 40) ** 2


def test_what_would_show_a_small_loss_is_said_with_its_number(healthy):
    vague = Reading(gauge=Gauge(accuracy_pa=5 * PSI_PA))
    said = run_against_catch(healthy, boom_card(catch_card(reading=vague))).remarks
    assert "largest part, catch: accuracy of the gauge: compare the gauge with a better one" in said[-1]
    scatter = Component("run: scatter of its passes", 0.002)
    # A gauge of 1 psi, read to 1 psi, for transducer and catches alike.
    for psi, words in ((15.0, "if the board reads the pressure"), (25.0, "after 2 more catches"), (40.0, "")):
        made = cards(0.0, psi, gauge_psi=1.0, jug=replace(JUG, accuracy=0.005))
        used = apply_cards(boom_of(4), made)
        used = replace(used, meter=replace(used.meter, relative_uncertainty=0.003))
        test = as_shown(boom_card(made[1]), used.pressure, made)
        told = would_decide(test, used, made, 20.0, psi * PSI_PA, scatter)
        assert words in told and bool(words) == bool(told), told
        if "more catch" in words:
            parts = [run_over_catch(test.with_more(0, n), used, made, 20.0, psi * PSI_PA) for n in (1, 2)]
            assert [shows_loss([*one, scatter]) for one in parts] == [False, True]
