"""Every page held against axe-core's rules, day and dark, on a phone and on a desk, and used with the keyboard alone.

axe-core 4.12 checks the success criteria of WCAG 2.2 (W3C Recommendation, 2024) that a program can check, and rules of
good practice beyond them.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from shutil import copy
from typing import Any

import pytest

from dashboards.pages import PAGES, Page, page_at
from tests.dashboards.page_looks import contrasts, tap_targets
from tests.dashboards.processes import ROOT, Server, Standing, wait_until
from tests.dashboards.writing import GrowingRun

pytestmark = pytest.mark.browser

RECORDING = ROOT / "recordings/2026-05-14T0915-harrow-lea-pleasure-grounds.sward"
PHONE = ((360, 740),)
BIG_PHONE = (412, 915)  # laid out as the other phone, so axe-core is asked for that one only
SIZES = (*PHONE, BIG_PHONE, (1280, 800))
# Contrast of 7:1 is asked of every text beside, with a sentence that says which falls short.
OPTIONS = {"resultTypes": ["violations"], "rules": {"target-size": {"enabled": True}}}
COLOURS = {"resultTypes": ["violations"], "runOnly": ["color-contrast"]}  # in the dark nothing else is different
Serve = Callable[..., Server]
Phone = Callable[..., Any]


def open_page(phone: Phone, address: str, page: Page) -> Any:
    """The page, once what belongs to it has been drawn."""
    of_run = f"?name={RECORDING.stem}" if page.path == "/run" else ""
    opened = phone(address + page.path + of_run)
    if not page.layout:
        wait_until(lambda: opened.evaluate("document.getElementById('live').dataset.fresh") == "fresh", "numbers")
        return opened
    opened.wait_for_selector("main h1")
    if page.path != "/run":  # whose heading is the run's
        assert opened.locator("h1").all_inner_texts() == [page.heading or page.title]  # as the server drew it at first
    wait_settled(opened)
    return opened


def wait_settled(opened: Any) -> None:
    """Until a page has all its answers and what it shows does not change any more."""
    seen = [""]

    def settled() -> bool:
        seen.append(opened.inner_text("main"))
        reading = "Reading " in seen[-1] or opened.query_selector("[data-dash-is-loading]")
        return seen[-1] == seen[-2] and not reading

    wait_until(lambda: opened.wait_for_timeout(300) or settled(), "the page stands still")


def look_at(opened: Any, what: str, sizes: tuple[tuple[int, int], ...] = SIZES) -> None:
    """Holds what is shown against everything asked of a page, in each size, day and dark."""
    from axe_playwright_python.sync_playwright import Axe

    axe = Axe()
    for width, height in sizes:
        opened.set_viewport_size({"width": width, "height": height})
        for light in ("light", "dark"):
            opened.emulate_media(color_scheme=light)
            where = f"{what}, {width} × {height}, {light}"
            if (width, height) != BIG_PHONE and (light == "light" or (width, height) in PHONE):
                found = axe.run(opened, options=OPTIONS if light == "light" else COLOURS)
                assert found.violations_count == 0, f"{where}: {found.generate_report()}"
            assert opened.evaluate("document.documentElement.scrollWidth") <= width, where
            small = [one for one in tap_targets(opened) if one["width"] < 48 or one["height"] < 48]
            assert small == [], where
            assert [one for one in contrasts(opened) if one["ratio"] < 7.0] == [], where


@pytest.mark.journey  # through every page there is
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.path)
def test_no_violations(page: Page, standing: Standing, phone: Phone) -> None:
    copy(RECORDING, standing.runs)  # a finished run with a fault in it
    growing = None if page.layout else GrowingRun(standing.next_run())
    look_at(open_page(phone, standing.server.address, page), page.path)
    if growing:
        growing.end()


def test_no_violations_in_the_live_pages_other_states(runs: Path, serve: Serve, phone: Phone) -> None:
    live = page_at("/live")
    assert live
    opened = phone(serve().address + live.path)
    wait_until(lambda: opened.inner_text("#why").startswith("No run yet"), "a sentence")
    look_at(opened, "no run", PHONE)
    run = GrowingRun(runs / "2026-05-14T0915-bowling-green.sward", lines=300)
    wait_until(lambda: opened.evaluate("document.getElementById('live').dataset.fresh") == "fresh", "numbers")
    opened.click("#pages-open")
    look_at(opened, "pages open", PHONE)
    opened.keyboard.press("Escape")
    run.walk.flow_share = 0.75
    opened.wait_for_selector("#fault:not([hidden])")
    look_at(opened, "a fault")
    opened.evaluate("document.getElementById('refill').showModal()")
    look_at(opened, "refilled", PHONE)
    opened.keyboard.press("Escape")
    run.end()
    wait_until(lambda: opened.inner_text("#words") == "Run ended", "the end")
    look_at(opened, "run ended", PHONE)
