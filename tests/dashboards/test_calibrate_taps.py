"""Calibrating on a phone beside the sprayer: how many taps it takes, what is in sight, how a countdown is heard.

A tap is a tap on the page: a button, a choice, or a field to bring up its keyboard; what is typed on that is none.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.dashboards.calibrating import ENTER, open_calibrate, result, wait_for_rows
from tests.dashboards.page_looks import contrasts, tap_targets
from tests.dashboards.processes import RecorderProcess, Server, wait_until
from tests.dashboards.walking import RIG, BoardOnPty

pytestmark = pytest.mark.browser

Serve = Callable[..., Server]
Phone = Callable[..., Any]
THREE = re.sub(r"nozzles = 4", "nozzles = 3", RIG.read_text(encoding="utf-8"))
AMOUNT = "[data-entry=amount] input:visible"
BEEPS = "document.getElementById('calibrate-timed').dataset.beeps"
# Each countdown as the page first hears of it: seconds to its start and to its end.
LISTEN = """
window.countdowns = {};
document.addEventListener("DOMContentLoaded", () => new MutationObserver(() => {
  const box = document.getElementById("calibrate-timed");
  const [number, ...moments] = box ? box.textContent.split(" ") : [""];
  if (number && !(number in window.countdowns)) window.countdowns[number] = moments.map(Number);
}).observe(document.body, { childList: true, subtree: true, characterData: true }));
"""


class Taps:
    """A finger on a page that counts."""

    def __init__(self, page: Any) -> None:
        self.page, self.count = page, 0

    def on(self, what: str) -> None:
        self.page.click(what)
        self.count += 1

    def button(self, words: str) -> None:
        self.on(f"button:visible:has-text('{words}')")

    def type(self, text: str) -> None:
        """Into the field for the amount, which is tapped first: a phone shows its keyboard only then."""
        self.on(AMOUNT)
        self.page.fill(AMOUNT, text)


@pytest.fixture
def sprayer(runs: Path, tmp_path: Path) -> Iterator[BoardOnPty]:
    """A board on a boom of three nozzles that is being recorded."""
    rig = tmp_path / "three.toml"
    rig.write_text(THREE, encoding="utf-8")
    board = BoardOnPty()
    recorder = RecorderProcess(board.port, runs, tmp_path / "recorder.log", rig)
    yield board
    recorder.end()
    board.close()


def pulses(page: Any) -> int:
    return int(re.sub(r"\D", "", page.inner_text("#calibrate-counted")) or "0")


@pytest.mark.journey
def test_six_catches_of_the_meter_in_twenty_taps(sprayer: BoardOnPty, runs: Path, serve: Serve, phone: Phone) -> None:
    page = phone("about:blank")
    page.goto(serve().address + "/calibrate")
    page.wait_for_selector("#calibrate-act button:visible")
    taps = Taps(page)
    taps.button("Start")
    for number in range(1, 7):
        wait_until(lambda: pulses(page) > 100, "pulses")
        taps.button("Stop")
        page.wait_for_selector(AMOUNT)
        # 450 pulses to the litre, as the rig file says; a fluid ounce is 29.5735 mL (NIST Handbook 44).
        taps.type(f"{pulses(page) / 450e-3 / 29.5735:.1f}")
        if number < 6:
            taps.button("Save, start the next")
            page.wait_for_selector("button:visible:has-text('Stop')")
        else:
            taps.on(ENTER)
    wait_for_rows(page, 6)
    taps.button("Save card")
    wait_until(lambda: "New runs will use it" in page.inner_text("#calibrate-notice"), "saved")
    print(f"six catches of the meter: {taps.count} taps")
    assert taps.count <= 20
    assert len(list((runs / "cards").rglob("*-meter.toml"))) == 1


@pytest.mark.journey
def test_the_same_amount_again_is_one_tap(sprayer: BoardOnPty, serve: Serve, phone: Phone) -> None:
    page = phone("about:blank")
    open_calibrate(page, serve(), "Flow meter", "Measure now")
    taps = Taps(page)
    for number in (1, 2):
        taps.button("Start")
        wait_until(lambda: pulses(page) > 50, "pulses")
        taps.button("Stop")
        page.wait_for_selector(AMOUNT)
        if number == 1:
            taps.type("8")
            taps.on(ENTER)
        else:
            taps.button("Same again: 8 fl oz")
        wait_for_rows(page, number)
    assert taps.count == 7
    assert result(page).count("8 fl oz") == 2


@pytest.mark.journey
def test_a_catch_test_of_three_nozzles_at_two_pressures_in_eighteen_taps(
    sprayer: BoardOnPty, runs: Path, serve: Serve, phone: Phone
) -> None:
    page = phone("about:blank")
    page.add_init_script(LISTEN)
    open_calibrate(page, serve(), "Catch test", "Nozzle by nozzle")
    page.click("summary:visible:has-text('More')")
    page.fill("[data-entry=catch_for] input:visible", "5")  # or the test would take five minutes
    page.click("summary:visible:has-text('More')")
    taps = Taps(page)
    for psi in (40.0, 25.0):
        sprayer.walk.pressure = round((0.1 + 0.8 * psi / 100) * 1023 * 16)
        wait_until(lambda p=psi: f"{p:.1f} psi by the board" in page.inner_text("#calibrate-about"), "its pressure")  # type: ignore[misc]
        # What a tip of the rig file gives in 5 s at that pressure: Q = k √P, 0.35 gal/min at 40 psi.
        amount = f"{0.35 * math.sqrt(psi / 40) / 60 * 5 * 128:.2f} fl oz"
        for number in (1, 2, 3):
            if number == 1:
                taps.button("Catch for")
            page.wait_for_selector(AMOUNT)  # it has ended by itself
            taps.type(amount)
            if number < 3:
                taps.button(f"Save, start nozzle {number + 1}")
                page.wait_for_selector("button:visible:has-text('Stop')")
            else:
                taps.on(ENTER)
                wait_until(lambda: "All 3 nozzles are caught" in page.inner_text("#calibrate-say"), "all")
    assert "within 5 %" in result(page)
    taps.button("Save card")
    wait_until(lambda: "New runs will use it" in page.inner_text("#calibrate-notice"), "saved")
    print(f"catch test, three nozzles at two pressures: {taps.count} taps")
    assert taps.count <= 18
    # Three short beeps and a long one before the catch, and before its end, for each of six catches. A short one whose
    # moment has passed when the page hears of the countdown does not sound; every other one does.
    heard = page.evaluate("window.countdowns")
    assert len(heard) == 6
    due = sum(moment >= before for moments in heard.values() for moment in moments for before in (3, 2, 1, 0))
    assert 6 * 6 <= due <= 6 * 8
    wait_until(lambda: int(page.evaluate(BEEPS)) == due, f"{due} beeps and no more: {page.evaluate(BEEPS)}")


def test_only_the_count_and_its_buttons_are_in_sight_while_catching(
    sprayer: BoardOnPty, serve: Serve, phone: Phone
) -> None:
    page = phone("about:blank")
    open_calibrate(page, serve(), "Flow meter", "Measure now")
    assert page.is_visible(".cautions")
    page.click("button:visible:has-text('Start')")
    page.wait_for_selector("button:visible:has-text('Stop')")
    assert page.locator("main button:visible").all_inner_texts() == ["Stop", "Undo"]
    assert page.evaluate("document.documentElement.scrollHeight <= window.innerHeight")
    for light in ("light", "dark"):
        page.emulate_media(color_scheme=light)
        assert [one for one in contrasts(page) if one["ratio"] < 7.0] == []
        assert [one for one in tap_targets(page) if one["width"] < 48 or one["height"] < 48] == []
    wait_until(lambda: pulses(page) > 20, "pulses")
    page.click("button:visible:has-text('Stop')")
    page.wait_for_selector(AMOUNT)
    assert page.get_attribute(AMOUNT, "inputmode") == "decimal"
    wait_until(lambda: page.evaluate("document.activeElement.matches('[data-entry=amount] input')"), "it is ready")
    page.reload()
    page.wait_for_selector("#calibrate-say:not(:empty)")
    assert not page.is_visible(".cautions")  # read on this device: folded


def test_pictures_show_how_to_hold_and_to_read_the_jug(
    sprayer: BoardOnPty, serve: Serve, phone: Phone, tmp_path: Path
) -> None:
    page = phone("about:blank")
    open_calibrate(page, serve(), "Flow meter", "Measure now")
    drawn = "[role=img]:visible"
    for name, words in (("hold", "upright"), ("read", "eye level")):
        page.wait_for_selector(f"{drawn}.jug-{name}")
        assert page.locator(drawn).count() == 1
        picture = page.locator(drawn)
        assert words in picture.get_attribute("aria-label")
        assert picture.bounding_box()["width"] <= 360
        # The drawing itself is there: a mask that is not found would leave a block of ink, or nothing.
        mask = picture.evaluate("box => getComputedStyle(box).maskImage")
        assert page.request.get(re.sub(r'url\("(.*)"\)', r"\1", mask)).ok
        for light in ("light", "dark"):
            page.emulate_media(color_scheme=light)
            page.screenshot(path=tmp_path / f"jug-{name}-{light}.png")
        if name == "hold":
            page.click("button:visible:has-text('Start')")
            page.wait_for_selector("button:visible:has-text('Stop')")
            assert page.locator(drawn).count() == 0  # while it counts there is the count alone
            page.click("button:visible:has-text('Stop')")
    assert "bottom of the water's curve" in page.inner_text("#calibrate-say")
    assert page.is_visible(AMOUNT)
