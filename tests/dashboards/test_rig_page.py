"""The rig page in a real browser: the sprayer of the newest run, its cards, its text."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from host.calibrate.cards import make_card, save_card
from tests.dashboards.processes import Server, wait_until
from tests.dashboards.walking import RIG
from tests.dashboards.writing import GrowingRun, begin

pytestmark = pytest.mark.browser

Serve = Callable[..., Server]
Phone = Callable[..., Any]
WALKER = RIG.with_name("harrow-lea-walker.toml")


def figures(page: Any) -> dict[str, str]:
    """Names and figures as they stand there."""
    rows = "all => all.map(row => [...row.querySelectorAll('dt, dd')].map(cell => cell.innerText))"
    return dict(page.eval_on_selector_all(".figures-list > div", rows))


def open_rig(serve: Serve, phone: Phone) -> Any:
    page = phone(serve().address + "/rig")
    page.wait_for_selector("main h1")
    return page


def test_the_example_before_the_first_run(serve: Serve, phone: Phone) -> None:
    page = open_rig(serve, phone)
    assert "the example" in page.inner_text(".rig")
    assert figures(page)["From nozzle to nozzle"] == "20.0 in"
    assert "has read no run of this rig yet" in page.inner_text("main")
    for path in ("/rig", "/plan", "/mix", "/calibrate"):  # the way to a sprayer of one's own
        page.goto(page.url.rsplit("/", 1)[0] + path)
        page.wait_for_selector(".rig a[href='/setup']:has-text('Set up my sprayer')")
    assert page.wrong == []


def test_cards_in_force_and_the_text_to_copy(growing: GrowingRun, runs: Path, serve: Serve, phone: Phone) -> None:
    section = {"factor": "451 pulses/L", "uncertainty": "0.6 %"}
    name = tomllib.loads(RIG.read_text(encoding="utf-8"))["name"]
    made = datetime(2026, 5, 12, 17, 30, tzinfo=UTC)
    save_card(make_card("meter", name, made, section, {"expanded_percent": 1.4}), runs / "cards")
    page = open_rig(serve, phone)
    assert figures(page)["Factor"] == f"{451 * 3.785411784:,.1f} pulses/gal"  # NIST Handbook 44, Appendix C
    row = page.locator("tbody tr:has-text('card of')").inner_text().split("\t")
    assert [cell.strip() for cell in row] == ["Flow meter", "card of 12 May 2026", "± 1.4 %"]
    page.click("summary:has-text('Rig file')")
    text = page.inner_text("#rig-text")
    assert tomllib.loads(text) == tomllib.loads(RIG.read_text(encoding="utf-8"))
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.click("[data-copies]")
    wait_until(lambda: page.inner_text("#rig-copied") == "Copied.", "it says so")
    assert page.evaluate("navigator.clipboard.readText()") == RIG.read_text(encoding="utf-8")
    page.context.clear_permissions()
    page.evaluate("Object.defineProperty(navigator, 'clipboard', {value: undefined})")  # as over plain http
    page.click("[data-copies]")
    wait_until(lambda: page.inner_text("#rig-copied").startswith("Marked"), "it says so")
    assert page.evaluate("getSelection().toString()").strip() == text.strip()


def test_a_metric_rig_without_a_wheel(runs: Path, serve: Serve, phone: Phone) -> None:
    begin(runs / "2026-05-14T0915-court.sward", WALKER.read_text(encoding="utf-8")).close("complete", "test", 0, 0.0)
    told = figures(open_rig(serve, phone))
    assert (told["Rate"], told["The same"]) == ("4.00 L/100 m²", "400 L/ha")
    assert told["No wheel: speed of your course"] == "4.00 km/h"
    assert told["Gives"] == "15.00 L/min"


def test_a_rig_that_cannot_be_read_gets_one_sentence(runs: Path, serve: Serve, phone: Phone) -> None:
    begin(runs / "2026-05-14T0915-court.sward", "name = 'x'\n").close("complete", "test", 0, 0.0)
    page = open_rig(serve, phone)
    assert "is missing" in page.inner_text(".notice")
