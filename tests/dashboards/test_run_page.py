"""One run in a real browser: the recording with the clog against what host.review says of it; notes; print."""

from __future__ import annotations

import json
import shutil
import urllib.request
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from dashboards.ui.fields import address
from host.library.later_notes import read_notes
from host.review.review import review_run
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.units import UNITS, to_user
from tests.dashboards.page_looks import contrasts, tap_targets
from tests.dashboards.processes import Server, wait_until
from tests.host.library.made import short_scenario, write

pytestmark = pytest.mark.browser

Serve = Callable[..., Server]
Phone = Callable[..., Any]
RECORDING = next((Path(__file__).parents[2] / "recordings").glob("*.sward"))
EVIL = '<img src=x onerror="window.hacked=1"><script>window.hacked=2</script>'


def open_run(runs: Path, serve: Serve, phone: Phone, **looks: Any) -> tuple[Server, Any]:
    shutil.copy(RECORDING, runs)
    server = serve()
    page = phone(server.address + address("/run", name=RECORDING.stem), **looks)
    page.wait_for_selector("#run-body .headline")
    return server, page


@pytest.mark.journey
def test_the_clog_recording_as_the_review_has_it(runs: Path, serve: Serve, phone: Phone) -> None:
    """The recording's third pass loses a nozzle: the page's numbers are the review's, in plot and table alike."""
    review = review_run(RECORDING)
    server, page = open_run(runs, serve, phone)
    page.click("summary:has-text('Rate along each pass')")
    page.wait_for_selector(".strips .main-svg")
    fault = page.inner_text(".inner.warning")
    assert "Nozzle clogged, about 1.0 nozzles' worth" in fault
    assert "pass 3," in fault
    assert "Look along the boom for a fan that is thin or missing" in fault

    rate = UNITS["us"]["rate"].decimals
    strips = review.strips
    wanted = [
        [
            str(strip.number),
            f"{to_user(float(begin), 'length', 'us'):.1f}",
            f"{to_user(float(end), 'length', 'us'):.1f}",
            f"{to_user(float(value), 'rate', 'us'):.{rate}f}",
        ]
        for strip in strips
        for begin, end, value in zip(strip.edges_m[:-1], strip.edges_m[1:], strip.rate_m3_m2, strict=True)
    ]
    page.click(".numbers summary")
    rows = page.evaluate(
        "[...document.querySelectorAll('.numbers tbody tr')].map(row => Array.from(row.cells, one => one.textContent))"
    )
    assert [row[:4] for row in rows] == wanted
    plotted = page.evaluate("document.querySelector('.strips .js-plotly-plot').data.map(one => Array.from(one.y))")
    assert len(plotted) == len(strips)
    for drawn, strip in zip(plotted, strips, strict=True):
        assert drawn[:-1] == pytest.approx([to_user(float(r), "rate", "us") for r in strip.rate_m3_m2])
    listed = page.locator("#run-body table", has_text="Off by").first.inner_text()
    for section in review.sections(strips):
        begin, end = (to_user(at, "length", "us") for at in (section.from_m, section.to_m))
        assert f"{section.number}\t{begin:.0f}\t{end:.0f}" in listed

    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert [one for one in tap_targets(page) if one["width"] < 48 or one["height"] < 48] == []
    assert [one for one in contrasts(page) if one["ratio"] < 7.0] == []
    assert Axe().run(page, options={"resultTypes": ["violations"]}).violations_count == 0
    small = page.evaluate(
        "Array.from(document.querySelectorAll('.plot text'), one => parseFloat(getComputedStyle(one).fontSize))"
    )
    assert min(small) >= 12
    assert all(asked.startswith((server.address, server.address.replace("http", "ws"))) for asked in page.asked)
    assert page.wrong == []
    for link in page.locator(".goes a").all():
        href = str(link.get_attribute("href"))
        with urllib.request.urlopen(server.address + href, timeout=60) as got:
            body = got.read()
        if "export.csv" in href:
            assert body.count(b"\n") == review.health.frames + 1
        elif "report" in href:
            assert "Spray record" in body.decode()


def test_notes_are_text_and_stand_beside_the_run(runs: Path, serve: Serve, phone: Phone) -> None:
    server, page = open_run(runs, serve, phone)
    run = runs / RECORDING.name

    def add(key: str, text: str) -> None:
        page.fill("[data-entry=key] input", key)
        page.fill("[data-entry=text] input", text)
        page.click("#note-add")
        wait_until(lambda: read_notes(run).get(key) == text, f"{key} is kept")
        wait_until(lambda: not page.input_value("[data-entry=text] input"), "the field is empty again")

    page.click("#note-add")
    page.wait_for_selector("[data-entry=key] .wrong:not(:empty)")
    add("<img src=x onerror=window.hacked=3>", EVIL)
    add("area", EVIL)
    add("mix", "20 mL/L")
    add("label limit", "3 fl oz/1000 ft2")
    wait_until(lambda: "The label allows\n3.00 fl oz/1000 ft²" in page.inner_text("#run-body"), "product")
    assert EVIL in page.inner_text("#run-notes")
    assert EVIL in page.inner_text("h1")
    assert run.read_bytes() == RECORDING.read_bytes()
    page.goto(server.address + "/runs")
    page.wait_for_selector(".run-what")
    assert EVIL in page.inner_text(".run-what")
    assert page.evaluate("window.hacked") is None
    page.goto(server.address + address("/runs/report", name=RECORDING.stem))
    assert EVIL in page.inner_text("body")
    assert page.evaluate("window.hacked") is None


def test_dark_screens_print_light(runs: Path, serve: Serve, phone: Phone) -> None:
    _, page = open_run(runs, serve, phone, light="dark")
    page.click("summary:has-text('Rate along each pass')")
    page.wait_for_selector(".strips .main-svg")
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    colours = page.evaluate(
        """() => [".strips .js-line", ".strips text", ".headline"].map(place => {
            const style = getComputedStyle(document.querySelector(place));
            return place === ".headline" ? style.color : place.endsWith("text") ? style.fill : style.stroke;
        })"""
    )
    assert colours == ["rgb(0, 0, 0)"] * 3, json.dumps(colours)
    assert not page.is_visible("#note-add")


def test_words_in_the_printed_pages_pictures_stay_apart_on_a_phone(runs: Path, serve: Serve, phone: Phone) -> None:
    server, page = open_run(runs, serve, phone)
    page.goto(f"{server.address}/runs/report?name={RECORDING.stem}")
    wrong = page.evaluate(
        """() => [...document.querySelectorAll("figure.ground svg")].flatMap(svg => {
            const whole = svg.getBoundingClientRect();
            const words = [...svg.querySelectorAll("text")].map(one => [one.textContent, one.getBoundingClientRect()]);
            const out = words.filter(([, at]) => at.left < whole.left - 1 || at.right > whole.right + 1);
            const row = words.filter(([, at]) => Math.abs(at.top - words[0][1].top) < 2);
            const over = row.filter(([, at], place) => place && row[place - 1][1].right > at.left);
            return [...out, ...over].map(([text]) => text);
        })"""
    )
    assert page.query_selector("figure.ground svg text") and wrong == []


def test_a_tank_that_warns_is_open(runs: Path, serve: Serve, phone: Phone) -> None:
    """A pass of 20 m takes more than the half litre that was in the tank: that stands in sight, not behind a tap."""
    scenario = short_scenario()
    frames = run_frames(ScenarioSource(scenario))
    for name, tank_m3 in (("half-a-litre", 0.5e-3), ("full", None)):
        day = datetime(2026, 5, 14 if tank_m3 else 15, tzinfo=UTC)
        write(runs / f"{name}.sward", frames, scenario.rig.toml, day, tank_m3=tank_m3)
    server = serve()
    for name, in_sight in (("half-a-litre", True), ("full", False)):
        page = phone(server.address + address("/run", name=name))
        page.wait_for_selector("#run-body .headline")
        assert page.get_by_text("Left by count").is_visible() == in_sight
        assert page.get_by_text("more went through the meter than the tank held").count() == in_sight


def test_what_is_no_run_is_told(runs: Path, serve: Serve, phone: Phone) -> None:
    (runs / "empty.sward").write_bytes(b"")
    server = serve()
    for name, words in (("../etc/passwd", "there is no run"), ("empty", "is empty"), ("", "Pick a run")):
        page = phone(server.address + address("/run", name=name))
        page.wait_for_selector("#run-body .notice")
        assert words.lower() in page.inner_text("#run-body .notice").lower()
        assert page.wrong == []
