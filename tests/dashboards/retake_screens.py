"""Takes the pictures in dashboards/screens again: `python -m tests.dashboards.retake_screens` (about three minutes).

Emulated sprayers are recorded and shown live as `swardflow demo` does; the other pages show the recording in
recordings/ with a catch test made three days before it.
"""

from __future__ import annotations

import shutil
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.boom_card import boom_measured
from host.calibrate.cards import make_card, save_card
from host.journal import read_run
from host.rig import rig_from_toml
from host.units import parse_quantity
from tests.dashboards.conftest import CHROMIUM_FLAGS
from tests.dashboards.processes import ROOT, Process, Server, free_port, wait_until
from tests.dashboards.sessions import LetIn, let_in

SCREENS = ROOT / "dashboards/screens"
RECORDING = ROOT / "recordings/2026-05-14T0915-harrow-lea-pleasure-grounds.sward"
PHONE, DESK = (412, 915), (1280, 800)
MOST_BYTES = 160_000


class Pictures:
    """Takes pictures of pages in one browser."""

    def __init__(self, browser: Any) -> None:
        self._browser = browser

    def take(self, name: str, address: str, size: tuple[int, int], ready: Callable[[Any], Any], light: str) -> None:
        """Open the page, wait for what it shall show, keep what is seen of it."""
        width, height = size
        scale = 1.25 if size == PHONE else 1.0
        context = self._browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=light, device_scale_factor=scale
        )
        page = context.new_page()
        page.goto(address)
        wait_until(lambda: page.wait_for_timeout(200) or ready(page), name, 400.0)
        page.mouse.click(1, height - 1)  # alarms may sound: the page need not ask for it
        page.wait_for_timeout(400)
        path = SCREENS / f"{name}.png"
        page.screenshot(path=path)
        context.close()
        print(f"{path.relative_to(ROOT)}: {path.stat().st_size} bytes", flush=True)
        if path.stat().st_size > MOST_BYTES:
            raise SystemExit(f"{name} is larger than {MOST_BYTES} bytes")


LIVE = {
    "demo": (("live-phone", PHONE, "light", "slower"), ("live-desk", DESK, "light", "faster")),
    "clog-in-third-pass": (("fault-phone", PHONE, "dark", "fault"),),
}
SHOWN = {
    "slower": "document.getElementById('live').dataset.advice === 'slower'",
    "faster": "document.getElementById('live').dataset.advice === 'faster'",
    "fault": "document.getElementById('live').dataset.advice === 'stop'",
}


def live(pictures: Pictures, folder: Path) -> None:
    """The live page while the walker strays from the pace, and while a nozzle is clogged."""
    for scenario, shots in LIVE.items():
        with demo_pages(scenario, folder) as address:
            for name, size, light, wanted in shots:
                pictures.take(name, address, size, lambda page, shown=SHOWN[wanted]: page.evaluate(shown), light)


@contextmanager
def demo_pages(scenario: str, folder: Path) -> Iterator[str]:
    """`swardflow demo` with the scenario; the address of its pages, which let this process in."""
    port, log = free_port(), folder / f"{scenario}.log"
    demo = ["-m", "host.cli.main", "demo", "--scenario", scenario, "--http-port", str(port), "--no-browser"]
    process = Process([*demo, "--runs", str(folder / scenario)], log)
    try:
        wait_until(lambda: let_in(port, log.read_text()), "the page lets in", 60.0)
        yield f"http://127.0.0.1:{port}/"
    finally:
        process.end(signal.SIGINT)


def take_with_chromium(work: Callable[[LetIn, Path], int]) -> int:
    """What `work` returns, given a browser and an empty folder; 2 without Chromium."""
    chromium = shutil.which("chromium")
    if chromium is None:
        print("Chromium is not installed: apt install chromium")
        return 2
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = LetIn(playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS))
        try:
            return work(browser, Path(folder))
        finally:
            browser.close()


def reviewed(pictures: Pictures, folder: Path) -> None:
    """The pages for before and after the job."""
    shutil.copy(RECORDING, folder)
    run = read_run(RECORDING)
    rig = rig_from_toml(run.rig_toml)
    psi = [parse_quantity(f"{at} psi", "pressure", "the gauge") for at in (30, 50)]
    catches = [BoomCatch(p, 60.0, (float(rig.nozzles.flow_m3_s(p)) * 60.0,) * rig.nozzles.count) for p in psi]
    record = boom_measured(rig, catch_test(catches, rig, None, Reading()), Reading())
    made = datetime.fromisoformat(str(run.header["started"])) - timedelta(days=3)
    save_card(make_card("boom", rig.name, made, {}, record), folder / "cards")
    server = Server(folder, folder / "server.log")

    def has(*selectors: str) -> Callable[[Any], Any]:
        return lambda page: all(page.query_selector(one) for one in selectors)

    here = server.address
    plot = ".js-plotly-plot"
    try:
        pictures.take("run-phone", f"{here}/run?name={RECORDING.stem}", PHONE, has("figure.ground img"), "light")
        pictures.take("run-desk", f"{here}/run?name={RECORDING.stem}", DESK, has("#run-body h2", "main table"), "light")
        pictures.take("compare-phone", f"{here}/compare", PHONE, has("main .headline", plot), "light")
        pictures.take("calibrate-phone", f"{here}/calibrate", PHONE, has("#calibrate-say:not(:empty)"), "light")
        pictures.take("plan-phone", f"{here}/plan", PHONE, has("main .figures-list", plot), "light")
        pictures.take("rig-phone", f"{here}/rig", PHONE, has("main .headline"), "dark")
    finally:
        server.end()


def all_pictures(browser: LetIn, folder: Path) -> int:
    """Take them all."""
    live(Pictures(browser), folder)
    (runs := folder / "runs").mkdir()
    reviewed(Pictures(browser), runs)
    return 0


if __name__ == "__main__":
    sys.exit(take_with_chromium(all_pictures))
