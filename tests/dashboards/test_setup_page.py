"""Set up on a phone: from an empty folder to a rig file, by a finger that is counted."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from host.rig import load_rig
from host.units import GALLON_M3
from tests.dashboards.processes import Server, wait_until

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


def open_setup(serve: Serve, phone: Phone, **more: Any) -> Any:
    page = phone(serve().address + "/setup", **more)
    page.set_default_timeout(20_000)
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
    wait_until(lambda: page.evaluate("scrollY") > 0 or True, "scrolled")
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
    wait_until(lambda: page.input_value("[data-entry=tank] label input") == "50", "the tank's 50 L", 20)
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


def test_two_screens_change_one_sprayer(runs: Path, serve: Serve, phone: Phone) -> None:
    page = open_setup(serve, phone)
    answered(page)
    page.wait_for_selector("#setup-result .headline")
    address = page.get_attribute("#setup-result a:has-text('Change')", "href")
    page.click("#setup-result a:has-text('Change')")
    other = phone(page.url.split("/setup")[0] + address)
    for screen in (page, other):
        screen.wait_for_selector("[data-entry=tank] label input")
        wait_until(lambda screen=screen: screen.input_value("[data-entry=tank] label input") == "12", "its tank", 20)
    page.fill("[data-entry=tank] label input", "13")
    page.click("#setup-go")
    page.wait_for_selector("#setup-result .headline")
    other.fill("[data-entry=tank] label input", "14")
    other.click("#setup-go")
    other.wait_for_selector("#setup-said:has-text('changed meanwhile')")
    assert load_rig(runs / "rigs" / "long-meadow.toml").tank.volume_m3 == pytest.approx(13 * GALLON_M3)
