"""The catch test recorded in a run is what its faults are held against, live and in review, to the last digit."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from dashboards.live.run_screen import RunScreen
from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.boom_card import boom_card, boom_measured, catch_held
from host.calibrate.cards import make_card, snapshot
from host.documents.text import format_text
from host.journal import read_run
from host.review.compare import run_against_catch
from host.review.review import review_run
from host.review.run_document import run_document
from host.rig import rig_from_toml
from host.simulate.disturbances import Disturbance
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import WalkSettings
from host.units import PSI_PA
from tests.host.library.made import write

DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)
DEMO = load_scenario("demo")
RIG = DEMO.rig


def catch_card(made=DAY - timedelta(days=3), rig=RIG, bad=()):
    """What a jug caught in a minute of nozzles that give their rating, `bad` ones a half of it, at 30 and 50 psi."""
    shares = [0.5 if number in bad else 1.0 for number in range(1, rig.nozzles.count + 1)]
    catches = [
        BoomCatch(
            psi * PSI_PA, 60.0, tuple(share * float(rig.nozzles.flow_m3_s(psi * PSI_PA)) * 60.0 for share in shares)
        )
        for psi in (30.0, 50.0)
    ]
    reading = Reading()
    record = boom_measured(rig, catch_test(catches, rig, None, reading), reading)
    return make_card("boom", rig.name, made, {}, record)


def said(review, system):
    return format_text(run_document(review, system))


@pytest.fixture(scope="module", params=["clogged", "healthy"])
def run(request, tmp_path_factory):
    events = (Disturbance("clog", 0.0, amount=1.0),) if request.param == "clogged" else ()
    scenario = replace(DEMO, seed=17, disturbances=events, walk=WalkSettings(passes=3, length_m=38.0))
    folder = tmp_path_factory.mktemp(request.param)
    frames = run_frames(ScenarioSource(scenario))
    write(folder / "learned.sward", frames, RIG.toml, DAY)
    return write(folder / "held.sward", frames, RIG.toml, DAY, calibrations=snapshot([catch_card()])), request.param


def test_a_nozzle_clogged_from_the_start_is_called_in_the_first_steady_seconds(run):
    path, state = run
    review = review_run(path)
    learned = review_run(path.with_name("learned.sward"))
    assert learned.faults == []  # nothing changed in the run: without a catch test it is taken for granted
    assert learned.catch is None
    assert "There is no catch test" in said(learned, "us")
    assert "compared with the catch test of 11 May 2026" in said(review, "metric")
    if state == "healthy":
        assert review.faults == []
        return
    (fault,) = review.faults
    assert fault.kind == "clog"
    assert fault.against_catch
    assert fault.nozzles == pytest.approx(1.0, abs=3 * fault.nozzles_u)
    assert fault.called_s - review.passes[0].start_s < 10.0
    assert fault.row(0.0)["against"] == "catch test"
    text = said(review, "us")
    assert f"{review.at(fault.began_s)} or before, pass 1" in text
    assert "against the catch test" in text


@pytest.mark.parametrize("piece", [400, 50_000])
def test_live_is_review_to_the_last_digit(run, piece):
    path, _ = run
    screen = RunScreen("run")
    data = path.read_bytes()
    for start in range(0, len(data), piece):
        screen.push(data[start : start + piece])
    assert screen.faults == review_run(path).faults


def test_what_is_held_is_the_catch_test_with_the_uncertainty_of_a_comparison(run):
    path, state = run
    held = catch_held(RIG, [catch_card()])
    assert held.coefficient == pytest.approx(RIG.nozzles.count * RIG.nozzles.coefficient, rel=1e-3)
    compared = run_against_catch(review_run(path), boom_card(catch_card()))
    fixed = [part for part in compared.uncertainty.components if "repeatability" not in part.name]
    assert held.relative_u == pytest.approx(sum(part.standard**2 for part in fixed) ** 0.5, rel=0.1)
    assert (compared.verdict == "agrees") == (state == "healthy")


def test_a_catch_test_that_cannot_hold_is_not_held(run):
    card = catch_card()
    five = rig_from_toml(RIG.toml.replace("nozzles = 4", "nozzles = 5"))
    assert five.nozzles.count == 5
    assert catch_held(five, [card]) is None
    assert catch_held(replace(RIG, pressure=None), [card]) is None
    assert catch_held(RIG, [make_card("boom", RIG.name, DAY, {}, {"nozzles": 4})]) is None
    assert catch_held(RIG, []) is None
    assert read_run(run[0]).calibrations


def test_a_bad_nozzle_of_a_catch_test_is_named_and_is_no_standard(run):
    sound = catch_held(RIG, [catch_card()])
    for bad in ((2,), (1, 4)):
        held = catch_held(RIG, [catch_card(bad=bad)])
        assert held.bad == bad
        assert held.coefficient == pytest.approx(sound.coefficient, rel=1e-4)
    path, _ = run
    review = review_run(path)
    assert "was bad in" not in said(review, "us")
    text = said(replace(review, catch=replace(review.catch, bad=(2,))), "us")
    assert "Nozzle 2 was bad in the catch test" in " ".join(text.split())


@pytest.mark.parametrize("bad", [(), (1, 4)])
def test_a_bad_nozzle_of_a_catch_test_is_named_on_the_live_page_from_the_first_report_on(run, bad, tmp_path):
    frames = read_run(run[0]).frames[:50]
    path = tmp_path / "live.sward"
    write(path, frames, RIG.toml, DAY, calibrations=snapshot([catch_card(bad=bad)]))
    screen, data = RunScreen("live"), path.read_bytes()
    screen.push(data[: len(data) * 3 // 4])
    assert ("Nozzles 1, 4 were bad in the catch test" in screen.row()["notice"]) == bool(bad)
