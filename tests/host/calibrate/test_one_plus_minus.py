"""One calibration, one ±: what the terminal says of it card, lists, rig page, review, live page and report say, too."""

import math
import re
import tomllib
from importlib.resources import files

import pytest

from dashboards.live.screen import screen_row
from host.calibrate.cards import apply_cards, load_cards
from host.calibrate.status import calibration_status
from host.pipeline import Pipeline, live_row
from host.review.calibration_choice import under_cards
from host.review.review import review_run
from host.rig import load_rig
from host.rig.model import DAY_TO_DAY
from tests.host.plan.asking import ask

RIG = str(files("host.simulate") / "scenarios" / "rigs" / "bowling-green.toml")
CATCHES = ("1043", "2.31 L", "30.7 s"), ("1039", "2.30 L", "30.6 s"), ("1051", "2.33 L", "30.9 s")
WORDS = [word for catch in CATCHES for word in ("--catch", *catch)]


@pytest.fixture(scope="module")
def card_and_run(tmp_path_factory):
    """A folder with one card of the meter, its ± in percent as the command's JSON has it, and a simulated run."""
    folder = tmp_path_factory.mktemp("one")
    said = ask("calibrate", "meter", "--rig", RIG, "--cards", str(folder), *WORDS, "--json")
    assert said.code == 0, said.err
    run = folder / "run.sward"
    assert ask("simulate", "clog-in-third-pass", "--out", str(run)).code == 0
    return folder, said.json["uncertainty"]["expanded_percent"], run


def test_terminal_card_and_lists(card_and_run):
    folder, percent, _ = card_and_run
    shown = ask("calibrate", "meter", "--rig", RIG, "--no-card", "--cards", str(folder / "none"), *WORDS).out
    (text,) = re.findall(r"good to (±[\d.]+ %)", shown)
    # Two digits, rounded up and never down (JCGM 100:2008, 7.2.6).
    assert 0 <= float(text[1:-2]) - percent < 0.1
    card = tomllib.loads(next(folder.rglob("*-meter.toml")).read_text(encoding="utf-8"))
    assert card["measurements"]["expanded_percent"] == pytest.approx(percent, rel=1e-6)
    assert card["measurements"]["result"].endswith(text)
    assert text in ask("calibrate", "cards", "--rig", RIG, "--cards", str(folder)).out
    cards = load_cards(folder, "Harrow Lea bowling green boom")
    rig = apply_cards(load_rig(RIG), cards)
    (meter,) = (one for one in calibration_status(rig, cards) if one.kind == "meter")
    assert re.sub(r"\s", "", text) == re.sub(r"\s", "", meter.plus_minus)
    assert 200 * rig.meter.relative_uncertainty == pytest.approx(percent, rel=0.02)


def test_review_live_page_and_report(card_and_run):
    folder, percent, run = card_and_run
    review = review_run(run, under=under_cards(folder))
    first = review.passes[0]
    # Volume: the meter's ± and what its day adds; the rest of a pass's ± are the pulses at its ends and the wheel.
    volume = 2 * float(review.rig.meter.uncertainty_in_run(first.volume_m3 / first.spraying_s * 450e3))
    assert volume == pytest.approx(math.hypot(percent / 100, 2 * DAY_TO_DAY), rel=0.02)
    pipeline = Pipeline(review.rig)
    signals = pipeline.push(review.run.frames[:300], [])
    row = live_row(pipeline, signals) | {"frame": 300, "tank_low_m3": 0.0}
    live = float(screen_row(row, "us")["rate_spread"].strip("± "))
    rate = row["rate_m3_m2"]
    wheel = review.rig.wheel.uncertainty_in_run
    expected = rate * math.hypot(volume, 2 * wheel) / 4.0746e-5  # 1 gal/1000 ft2: 3.785411784 L on 92.90304 m2
    assert 0 <= live - expected < 0.02
    said = ask("review", str(run), "--recalibrated", "--cards", str(folder), "--json").json
    passes = said["passes"]
    assert passes[0]["rate_expanded_uncertainty_gal_per_1000_ft2"] == pytest.approx(expected, rel=0.2)
    report = folder / "report.html"
    assert ask("report", str(run), "--recalibrated", "--cards", str(folder), "--out", str(report)).code == 0
    assert f"good to ±{math.ceil(percent * 10 - 1e-9) / 10:g} %" in report.read_text(encoding="utf-8")
