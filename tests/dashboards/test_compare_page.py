"""Compare in a real browser: the verdict is the command's, a season of generated runs is what host.review finds."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from dashboards.compare.page import _choices
from dashboards.ui.fields import address
from host.calibrate.cards import save_card
from host.cli.main import main
from host.events import NOTE_REFILL
from host.library import Library
from host.library.later_notes import add_note, read_notes
from host.review.season import season_of
from host.units import rounded_up
from tests.dashboards.page_looks import contrasts, tap_targets
from tests.dashboards.processes import Server, wait_until
from tests.host.library.made import simulated_run
from tests.host.review.season_runs import Truth, write_season
from tests.host.review.test_compare import catch_card

pytestmark = pytest.mark.browser

Serve = Callable[..., Server]
Phone = Callable[..., Any]
RECORDING = next((Path(__file__).parents[2] / "recordings").glob("*.sward"))
DAY = datetime(2026, 5, 20, 9, tzinfo=UTC)


def command(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    capsys.readouterr()
    assert main([*arguments, "--json"]) in (0, 1)
    said: dict[str, Any] = json.loads(capsys.readouterr().out)
    return said


def fits(page: Any) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert [one for one in tap_targets(page) if one["width"] < 48 or one["height"] < 48] == []
    assert [one for one in contrasts(page) if one["ratio"] < 7.0] == []
    found = Axe().run(page, options={"resultTypes": ["violations"]})
    assert found.violations_count == 0, found.generate_report()
    assert page.wrong == []


def test_verdicts_are_those_of_the_command(
    runs: Path, serve: Serve, phone: Phone, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(RECORDING, runs)
    simulated_run(runs / "2026-05-20T0900-again.sward", DAY)
    save_card(catch_card(), runs / "cards")
    page = phone(serve().address + address("/compare", run=RECORDING.stem))

    said = command(capsys, "compare", RECORDING.stem, "--runs", str(runs))
    page.wait_for_selector("#compare-result .headline")
    assert page.inner_text("#compare-result .headline") == said["answer"]
    ratio, expanded = said["ratio"], said["ratio_expanded_uncertainty"]
    assert f"{ratio:.3f} ± {rounded_up(expanded, 3):.3f}" in page.inner_text("#compare-result")
    page.wait_for_selector(".ratios .main-svg")
    fits(page)

    page.locator("#compare-kind input").nth(1).click()
    said = command(capsys, "compare", RECORDING.stem, "2026-05-20T0900-again", "--runs", str(runs))
    wait_until(lambda: f"{said['ratio']:.3f} ±" in page.inner_text("#compare-result"), "the two runs")
    assert page.inner_text("#compare-result .headline") == said["answer"]
    page.fill("[data-entry=later] input", "nowhere")
    page.press("[data-entry=later] input", "Enter")
    page.wait_for_selector("[data-entry=later] .wrong:not(:empty)")


def test_what_is_proposed_can_be_compared(tmp_path: Path) -> None:
    """The newest runs in which it sprayed steadily: a tank that was rinsed at the end of a day is not one."""
    days = (("a", True), ("b", True), ("rinsed", False))
    entries = [
        SimpleNamespace(path=tmp_path / f"{name}.sward", digest=SimpleNamespace(rig="R", steady=steady or None))
        for name, steady in days
    ]
    cache = SimpleNamespace(look=lambda _: SimpleNamespace(entries=entries, unread=()), name_of=lambda path: path.stem)
    asked = partial(_choices, cache, looks=1, given=("", "", "", ""))
    assert asked(run="")[1:5] == ("b", "a", "b", "R")
    assert asked(run="rinsed")[1:4] == ("rinsed", "rinsed", "b"), "what was asked for stays"


def test_a_folder_that_cannot_be_read_is_told_and_looked_at_again(runs: Path, serve: Serve, phone: Phone) -> None:
    shutil.copy(RECORDING, runs)
    server = serve()
    away = runs.rename(runs.with_name("pulled-out"))
    page = phone(server.address + "/compare")
    page.wait_for_selector("#compare-trouble:not(:empty)")
    assert str(runs) in page.inner_text("#compare-trouble")
    away.rename(runs)
    wait_until(lambda: page.input_value("[data-entry=run] input") == RECORDING.stem, "the newest run is filled in")
    wait_until(lambda: page.inner_text("#compare-trouble") == "", "nothing is wrong any more")


@pytest.mark.journey
def test_a_season_is_what_the_review_finds(runs: Path, serve: Serve, phone: Phone) -> None:
    """Twenty runs; the meter reads 6 % less from the eleventh on, and a refill in the fifth was not recorded."""
    write_season(runs, 20, Truth(meter=lambda run: -0.06 if run >= 10 else 0.0))
    fifth = [entry for entry in Library(runs).entries() if entry.digest][4]
    assert fifth.digest
    left = float(fifth.digest.notes["tank left"].split()[0]) + 550.0 * fifth.digest.volume_m3
    add_note(fifth.path, "tank left", f"{left:.2f} L", datetime.now().astimezone())
    (runs / "foreign.sward").write_bytes(b"something else")
    digests = [entry.digest for entry in Library(runs).entries() if entry.digest]
    season = season_of(digests)
    assert season.findings
    server = serve()
    page = phone(server.address + "/compare")
    page.wait_for_selector("#compare-kind input")
    page.locator("#compare-kind input").nth(2).click()
    page.wait_for_selector(".season .main-svg")
    told = page.locator(".inner.warning").all_inner_texts()
    assert len(told) == len(season.findings)
    for letter, words, finding in zip("ABCDEF", told, season.findings, strict=False):
        assert words.startswith(letter)
        assert finding.kind in words.lower()
        assert finding.first_day in words
    assert "foreign.sward" in page.inner_text("#compare-result").lower()
    said = page.inner_text("#compare-result").lower()
    assert all(words.lower() in said for words in (*season.due.do, *season.due.why))
    rows = page.evaluate(
        "Array.from(document.querySelector('.numbers').querySelectorAll('tbody tr'), row => row.cells[0].textContent)"
    )
    assert rows == list(season.coefficient.dates)
    fits(page)
    assert any(finding.missing_m3 for finding in season.findings)
    page.click("#compare-result .acts button")
    page.wait_for_selector("#compare-refill:not(:empty)")
    assert NOTE_REFILL in read_notes(fifth.path)
    page.wait_for_selector("#compare-result .acts button", state="detached")
    page.click("#compare-result .goes a")
    wait_until(lambda: "Spray record" in page.title(), "the season's report")
