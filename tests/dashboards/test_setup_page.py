"""Set up on a phone: from an empty folder to a rig file, by a finger that is counted."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from host.rig import load_rig
from host.units import GALLON_M3
from tests.dashboards.engines import Chromium
from tests.dashboards.processes import Server, wait_until
from tests.dashboards.screen import Screen
from tests.dashboards.walking import BoardOnPty

pytestmark = pytest.mark.browser

Serve = Callable[..., Server]
Phone = Callable[..., Any]
ANSWERS = {
    "name": "Long meadow",
    "nozzles": "4",
    "spacing": "20",
    "tip_flow": "0.30",
    "tip_at": "40",
    "tank": "12",
    "factor": "450",
    "circumference": "4",
    "magnets": "8",
    "span_high": "100",
    "rate": "1.0",
}


class Finger:
    """Taps and typing, counted."""

    def __init__(self, page: Any) -> None:
        self.page, self.taps = page, 0

    def tap(self, where: str) -> None:
        self.page.click(where)
        self.taps += 1

    def type(self, entry: str, text: str) -> None:
        """One tap into the field, then the keys."""
        self.taps += 1
        self.page.fill(f"[data-entry={entry}] label input", text)


@pytest.fixture(autouse=True)
def settings(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A settings file of the test's own."""
    monkeypatch.setenv("SWARDFLOW_SETTINGS", str(tmp_path / "settings.toml"))


def open_setup(serve: Serve, phone: Phone, *arguments: str) -> Any:
    page = phone(serve("--use-settings", *arguments).address + "/setup")
    page.wait_for_selector("[data-entry=rate]")
    return page


def answered(page: Any) -> Finger:
    finger = Finger(page)
    for entry, text in ANSWERS.items():
        finger.type(entry, text)
    finger.tap("#setup-go")
    return finger


def test_from_an_empty_folder_to_a_rig_file(runs: Path, serve: Serve, phone: Phone) -> None:
    page = open_setup(serve, phone)
    finger = answered(page)
    page.wait_for_selector("#setup-result .headline")
    # gal/1000 ft² = 136 × gal/min of one nozzle / (mph × spacing in inches): turf bulletins; 136.36 unrounded.
    assert f"1.00 gal/1000 ft² at 40.0 psi and {136.36 * 0.30 / 20:.2f} mph" in page.inner_text("#setup-result")
    rig = load_rig(runs / "rigs" / "long-meadow.toml")
    assert rig.name == "Long meadow"
    assert rig.tank.volume_m3 == pytest.approx(12 * GALLON_M3)
    assert page.inner_text("#setup-result .press.main") == "Try the board"
    assert finger.taps <= 12
    print(f"set up: {finger.taps} taps")
    page.goto(page.url.replace("/setup", "/plan"))
    page.wait_for_selector(".rig:has-text('Long meadow')")


def test_mistakes_stand_at_their_field_and_nothing_typed_is_lost(runs: Path, serve: Serve, phone: Phone) -> None:
    page = open_setup(serve, phone)
    finger = Finger(page)
    for entry, text in (ANSWERS | {"tank": "twelve", "nozzles": ""}).items():
        finger.type(entry, text)
    page.click(".of-sprayer:has([data-entry=tip_low]) summary")
    finger.type("tip_low", "15")
    page.click(".of-sprayer:has([data-entry=tip_low]) summary")  # folded away again, and then wrong in there
    finger.tap("#setup-go")
    page.wait_for_selector("[data-entry=tank] .wrong:has-text('not a number')")
    assert "Fill this in" in page.inner_text("[data-entry=nozzles] .wrong")
    page.wait_for_selector("[data-entry=tip_high] .wrong:visible")
    assert page.inner_text("#setup-said").startswith("3 answers to look at: Nozzles")
    assert not (runs / "rigs").exists()
    page.reload()
    page.wait_for_selector("[data-entry=rate]")
    assert page.input_value("[data-entry=spacing] label input") == "20"
    for entry, text in {"tank": "12", "nozzles": "4", "tip_high": "60"}.items():
        page.eval_on_selector_all("details", "all => all.forEach(each => { each.open = true; })")
        finger.type(entry, text)
    finger.tap("#setup-go")
    page.wait_for_selector("#setup-result .headline")
    assert load_rig(runs / "rigs" / "long-meadow.toml").nozzles.max_pressure_pa is not None


@pytest.mark.journey
def test_an_example_is_copied_changed_and_chosen(runs: Path, serve: Serve, phone: Phone) -> None:
    page = open_setup(serve, phone)
    page.click("a:has-text('Harrow Lea walking boom')")
    page.wait_for_selector("[data-entry=course_distance] label input:visible")
    assert page.input_value("[data-entry=course_distance] label input") == "60"
    assert not page.is_visible("[data-entry=circumference]")
    finger = Finger(page)
    finger.type("name", "Second boom")
    finger.tap("#setup-go")
    page.wait_for_selector("#setup-result .headline")
    path = runs / "rigs" / "second-boom.toml"
    before = path.read_text(encoding="utf-8")
    assert len(tomllib.loads(before)["tip"]) == 1
    page.click("#setup-result a:has-text('Change')")
    page.wait_for_selector("[data-entry=tank] label input")
    wait_until(lambda: page.input_value("[data-entry=tank] label input") == "50", "the tank's 50 L")
    finger.type("tank", "60")
    finger.tap("#setup-go")
    page.wait_for_selector("#setup-result .headline")
    assert load_rig(path).tank.volume_m3 == pytest.approx(0.060)
    (kept,) = path.with_suffix("").glob("*.toml")
    assert kept.read_text(encoding="utf-8") == before
    assert len(tomllib.loads(path.read_text(encoding="utf-8"))["tip"]) == 1
    page.goto(page.url.split("?")[0])
    page.click("a:has-text('Describe another')")
    page.wait_for_selector("[data-entry=rate]")
    assert page.input_value("[data-entry=tank] label input") == ""
    answered(page)
    page.wait_for_selector("#setup-result .headline")
    page.goto(page.url.split("?")[0])
    page.click("#setup-chosen label:has-text('Second boom')")
    page.click("#setup-use")
    page.wait_for_selector("#setup-used:has-text('Second boom is used')")
    page.goto(page.url.replace("/setup", "/mix"))
    page.wait_for_selector(".rig:has-text('Second boom')")


@pytest.mark.journey
def test_two_screens_change_one_sprayer(runs: Path, serve: Serve, phone: Phone) -> None:
    page = open_setup(serve, phone)
    answered(page)
    page.wait_for_selector("#setup-result .headline")
    address = page.get_attribute("#setup-result a:has-text('Change')", "href")
    page.click("#setup-result a:has-text('Change')")
    other = phone(page.url.split("/setup")[0] + address)
    for screen in (page, other):
        screen.wait_for_selector("[data-entry=tank] label input")
        wait_until(lambda screen=screen: screen.input_value("[data-entry=tank] label input") == "12", "its tank")
    page.fill("[data-entry=tank] label input", "13")
    page.click("#setup-go")
    page.wait_for_selector("#setup-result .headline")
    other.fill("[data-entry=tank] label input", "14")
    other.click("#setup-go")
    other.wait_for_selector("#setup-said:has-text('changed meanwhile')")
    assert load_rig(runs / "rigs" / "long-meadow.toml").tank.volume_m3 == pytest.approx(13 * GALLON_M3)


def go_through_steps(screen: Screen, board: BoardOnPty) -> None:
    """What each step of the trial asks for, done with a board that lies still."""
    for words, change in (("Blow", {"spraying": True}), ("Put a little", {"pressure": 5000}),
                          ("Turn the wheel", {"pace_mph": 2.0})):  # fmt: skip
        screen.wait("#bringup-step", words, timeout_s=60)
        screen.wait(".counted.asked b")
        for name, value in change.items():
            setattr(board.walk, name, value)
    wait_until(lambda: int(screen.text(".counted.asked b") or 0) > 2, "the wheel's pulses are counted", 30)
    board.walk.pace_mph = 0.0
    screen.wait("button", "Go on", timeout_s=60)
    assert "the rig says 8" in screen.text("#bringup-step")
    screen.tap("button", "Go on")
    screen.wait("#bringup-step", "spray switch", timeout_s=60)
    screen.tap("button", "Skip")  # this sprayer has none
    screen.wait("#bringup-result .headline", timeout_s=60)


@pytest.mark.journey
def test_the_board_is_tried_on_the_phone(runs: Path, serve: Serve, phone: Phone, board: BoardOnPty) -> None:
    """A board whose sprayer moves when a step asks for it; what it finds is kept with the sprayer."""
    board.walk.spraying, board.walk.pace_mph, board.walk.pressure = False, 0.0, round(0.1 * 1023 * 16)
    page = open_setup(serve, phone, "--emulated", board.port)
    finger = answered(page)
    page.wait_for_selector("#setup-result .headline")
    finger.tap("#setup-result a:has-text('Try the board')")
    page.wait_for_selector("#bringup-port label:has-text('Emulated board')")
    finger.tap("#bringup-go")
    page.wait_for_selector("#bringup-step:has-text('Leave everything alone')")
    other = phone(page.url)
    other.wait_for_selector("#bringup-step:has-text('Leave everything alone')")  # a second screen sees the same
    screen = Screen(Chromium(page))
    go_through_steps(screen, board)
    (kept,) = (runs / "rigs" / "long-meadow").glob("bringup-*.json")
    assert json.loads(kept.read_text(encoding="utf-8"))["answer"] == page.inner_text("#bringup-result .headline")
    print(f"set up and bring-up: {finger.taps + screen.taps} taps")
    page.goto(page.url.split("/bringup")[0] + "/rig")
    page.wait_for_selector(f"main:has-text('{json.loads(kept.read_text(encoding='utf-8'))['answer']}')")
