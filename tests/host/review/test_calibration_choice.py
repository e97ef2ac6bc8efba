"""Old runs read again under newer calibration cards: nothing is touched, and the readings are kept apart."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import pytest

from host.calibrate.cards import make_card, save_card, snapshot
from host.cli.main import main
from host.documents.json import to_json
from host.documents.text import format_text
from host.errors import UserError
from host.library import Library
from host.review.calibration_choice import Under, under_cards
from host.review.review import review_run
from host.review.run_document import run_document
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import WalkSettings
from tests.host.library.made import short_scenario, told, write
from tests.host.review.test_catch_held import DAY, RIG, catch_card


def meter_card(factor, made, name=RIG.name):
    return make_card("meter", name, made, {"factor": f"{factor} /L", "uncertainty": "0.6 %"}, {})


@pytest.fixture(scope="module")
def frames():
    return run_frames(ScenarioSource(short_scenario(walk=WalkSettings(passes=1, length_m=38.0))))


@pytest.fixture
def runs(tmp_path, frames):
    """A run under a meter card of its own, and a folder of cards with a newer one and two catch tests."""
    before, after = DAY - timedelta(days=3), DAY + timedelta(days=30)
    write(tmp_path / "old.sward", frames, RIG.toml, DAY, calibrations=snapshot([meter_card(450, before)]))
    other = RIG.toml.replace(RIG.name, "Another boom")
    write(tmp_path / "other.sward", frames, other, DAY, calibrations=snapshot([]))
    for card in (meter_card(450, before), meter_card(500, after), catch_card(before), catch_card(after)):
        save_card(card, tmp_path / "cards")
    return tmp_path


def test_the_newest_meter_and_the_catch_test_before_the_run(runs):
    path = runs / "old.sward"
    whole = path.read_bytes()
    was, now = review_run(path), review_run(path, under=under_cards(runs / "cards"))
    assert now.totals.volume_m3 == pytest.approx(was.totals.volume_m3 * 450 / 500)
    assert now.rig.meter.relative_uncertainty == 0.006
    assert was.catch is None
    assert now.catch.made == DAY - timedelta(days=3)
    assert path.read_bytes() == whole
    assert [row["kind"] for row in to_json(run_document(was, "us"))["calibrations"]] == ["meter"]
    text = " ".join(format_text(run_document(now, "us")).split())
    assert "Meter 13 Jun 2026 instead of 11 May 2026" in text
    assert "Catch test 11 May 2026 not recorded in the run" in text


def test_kinds_without_a_newer_card_stay_as_recorded(runs, tmp_path):
    save_card(catch_card(DAY + timedelta(days=1)), tmp_path / "only-boom")
    was, now = review_run(runs / "old.sward"), review_run(runs / "old.sward", under=under_cards(tmp_path / "only-boom"))
    assert now.totals == was.totals
    assert now.catch is None  # that catch test is younger than the run


def test_a_rig_file_and_cards_together(runs):
    rig = replace(RIG, swath_m=2 * RIG.swath_m)
    now = review_run(runs / "old.sward", under=under_cards(runs / "cards", rig))
    plain = review_run(runs / "old.sward", under=Under(rig))
    assert now.totals.area_m2 == pytest.approx(2 * review_run(runs / "old.sward").totals.area_m2)
    assert plain.rig.meter == RIG.meter  # a rig file alone stands for the recorded cards, too
    assert now.rig.meter.curve[0][1] == pytest.approx(500e3)


def test_the_library_keeps_the_readings_apart(runs):
    plain, cards = Library(runs), Library(runs, under=under_cards(runs / "cards"))
    was, now = plain.entries(), cards.entries()
    by_name = {entry.path.stem: entry.digest for entry in now}
    assert by_name["old"].volume_m3 < was[0].digest.volume_m3
    assert repr(by_name["other"]) == repr({entry.path.stem: entry.digest for entry in was}["other"])
    assert told(plain.entries()) == told(was) and told(cards.entries()) == told(now)
    save_card(meter_card(400, DAY + timedelta(days=60)), runs / "cards")
    newer = Library(runs, under=under_cards(runs / "cards")).entries()
    assert {entry.path.stem: entry.digest for entry in newer}["old"].volume_m3 > was[0].digest.volume_m3


def test_a_bad_card_is_told_for_each_run_of_its_rig_only(runs):
    next((runs / "cards").glob("*/*-meter.toml")).write_text("format = 9", encoding="utf-8")
    entries = Library(runs, under=under_cards(runs / "cards")).entries()
    problems = {entry.path.stem: entry.problem for entry in entries}
    assert "format 9" in problems["old"]
    assert problems["other"] == ""
    with pytest.raises(UserError, match="no calibration cards"):
        under_cards(runs / "empty")


def volume(capsys):
    return json.loads(capsys.readouterr().out)["totals"]["volume_gal"]


def test_the_commands(runs, capsys, tmp_path):
    old = ["--runs", str(runs)]
    assert main(["review", "old", *old, "--json"]) == 0
    was = volume(capsys)
    assert main(["review", "old", *old, "--json", "--recalibrated"]) == 0
    assert volume(capsys) == pytest.approx(was * 0.9)
    assert main(["runs", *old, "--json", "--recalibrated", "--cards", str(runs / "cards")]) == 0
    assert {round(one["volume_gal"] / was, 3) for one in json.loads(capsys.readouterr().out)["runs"]} >= {0.9}
    assert main(["season", *old, "--recalibrated", "--out", str(tmp_path / "season.html")]) == 0
    assert main(["report", "old", *old, "--recalibrated", "--out", str(tmp_path / "r.html")]) == 0
    assert "instead of 11 May 2026" in (tmp_path / "r.html").read_text()
    assert main(["export", "old", *old, "--recalibrated", "--out", str(tmp_path / "r.csv")]) == 0
    last = (tmp_path / "r.csv").read_text().splitlines()
    assert float(dict(zip(last[0].split(","), last[-1].split(","), strict=True))["volume_gal"]) == pytest.approx(
        was * 0.9, rel=1e-3
    )
    assert main(["compare", "old", *old, "--recalibrated"]) in (0, 1)
    assert main(["dataset", "--out", str(tmp_path / "all"), *old, "--recalibrated"]) == 0
    capsys.readouterr()
    assert main(["review", "old", *old, "--cards", str(runs / "cards")]) == 2
    assert "add --recalibrated" in capsys.readouterr().err
    assert main(["review", "old", *old, "--recalibrated", "--cards", str(runs / "nowhere")]) == 2
    assert "no calibration cards" in capsys.readouterr().err
