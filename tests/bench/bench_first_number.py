"""From opening the live page to its first painted number, beside a blank page's first paint, in headless Chromium.

Run as `python -m tests.bench.bench_first_number` (`--times 15`). Each opening has a browser context of its own, so
nothing is in a cache; blank and live page take turns. Times count from the start of the navigation, on the browser's
own clock. Goal: under 2 s with the browser's processor slowed four times; neither Dash nor Plotly may be waited for.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.dashboards.processes import Server, wait_until
from tests.dashboards.writing import GrowingRun

GOAL_MS = 2000.0
BLANK = '<!DOCTYPE html><html lang="en"><title>Blank</title><p>0.00</p></html>'
# Painted: the frame after the one in which the number was set.
NOTE_NUMBER = """() => addEventListener("DOMContentLoaded", () => {
    const rate = document.getElementById("rate");
    if (!rate) return;
    const seen = new MutationObserver(() => {
        seen.disconnect();
        requestAnimationFrame(() => requestAnimationFrame(() => { window.firstNumber = performance.now(); }));
    });
    seen.observe(rate, {childList: true, characterData: true, subtree: true});
})"""
FIRST_PAINT = "performance.getEntriesByName('first-paint')[0]?.startTime"
LOADED_BEFORE = """() => performance.getEntriesByType("resource")
    .filter(one => one.responseEnd < window.firstNumber && one.name.includes("_dash-component-suites")).length"""


def opened(browser: Any, address: str, slowed: int, until: str) -> tuple[float, int]:
    """Milliseconds until the expression `until` has a value, and how many of Dash's files had been loaded by then."""
    context = browser.new_context(viewport={"width": 412, "height": 915})
    context.add_init_script(f"({NOTE_NUMBER})()")
    context.route("**/blank", lambda route: route.fulfill(body=BLANK, content_type="text/html"))
    page = context.new_page()
    context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slowed})
    page.goto(address, wait_until="commit")
    ms = wait_until(lambda: page.wait_for_timeout(100) or page.evaluate(until), until, 30.0)
    files = int(page.evaluate(LOADED_BEFORE)) if "firstNumber" in until else 0
    context.close()
    return float(ms), files


def main() -> int:
    """Measure and print; 1 when the goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--times", type=int, default=9, help="openings of each page and speed")
    args = parser.parse_args()
    chromium = shutil.which("chromium")
    if chromium is None:
        print("Chromium is not installed: apt install chromium")
        return 2
    from playwright.sync_api import sync_playwright

    from tests.dashboards.conftest import CHROMIUM_FLAGS
    from tests.dashboards.sessions import LetIn

    missed = False
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        run = GrowingRun(Path(folder) / "2026-05-14T0915-bowling-green.sward", lines=600)
        server = Server(Path(folder), Path(folder) / "server.log")
        browser = LetIn(playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS))
        try:
            for slowed in (1, 4):
                blank, live, files = [], [], 0
                for _ in range(args.times):
                    blank.append(opened(browser, f"{server.address}/blank", slowed, FIRST_PAINT)[0])
                    ms, before = opened(browser, server.address, slowed, "window.firstNumber")
                    live.append(ms)
                    files = max(files, before)
                typical, reference = statistics.median(live), statistics.median(blank)
                print(
                    f"browser ×{slowed}: first number median {typical:.0f} ms, worst {max(live):.0f} ms; blank page's "
                    f"first paint {reference:.0f} ms; ratio {typical / reference:.1f}; "
                    f"Dash's files loaded before: {files}; goal < {GOAL_MS:.0f} ms",
                    flush=True,
                )
                missed = missed or typical >= GOAL_MS or files > 0
        finally:
            browser.close()
            server.end()
            run.end()
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
