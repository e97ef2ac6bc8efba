"""From `swardflow open` on an empty folder to a run that is over and the next one, on a phone, without a terminal.

The board is emulated by the program itself; taps are counted.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from shutil import copy
from typing import Any

import pytest

from dashboards.context import EXAMPLE
from host.events import as_meant
from host.journal import read_run
from tests.dashboards.page_looks import contrasts, tap_targets
from tests.dashboards.processes import PATIENCE_S, Process, free_port, wait_until
from tests.dashboards.sessions import let_in
from tests.dashboards.test_accessible import PHONE, look_at, wait_settled
from tests.dashboards.told import wait_told

pytestmark = pytest.mark.browser
Phone = Callable[..., Any]


class Opened(Process):
    """`swardflow open` on a folder, with an emulated board."""

    def __init__(self, runs: Path, folder: Path, *arguments: str) -> None:
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        os.environ["SWARDFLOW_SETTINGS"] = str(folder / "settings.toml")
        command = ["-m", "host.cli.main", "open", "--runs", str(runs), "--http-port", str(self.port), "--no-browser"]
        super().__init__([*command, *arguments], folder / "open.log")
        self.wait_ready(self._answers, "the pages answer")

    def _answers(self) -> bool:
        assert self.child.poll() is None, self.output()
        try:
            return let_in(self.port, self.output()) and self.get("/live/newest").startswith("{")
        except OSError:
            return False

    def get(self, path: str) -> str:
        with urllib.request.urlopen(self.address + path, timeout=PATIENCE_S) as answer:
            return str(answer.read().decode())


@pytest.fixture
def opened(runs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Opened]:
    monkeypatch.setenv("SWARDFLOW_SETTINGS", "")  # put back after the test
    (runs / "rigs").mkdir()
    copy(EXAMPLE, runs / "rigs")
    with Opened(runs, tmp_path, "--scenario", "demo") as process:
        yield process
        assert process.end(signal.SIGINT, 30) in (0, -2)


class Taps:
    """Taps on a page, counted."""

    def __init__(self, page: Any) -> None:
        self.page, self.count = page, 0

    def __call__(self, selector: str) -> None:
        self.page.click(selector)
        self.count += 1


def live(page: Any) -> None:
    page.wait_for_url("**/live")
    wait_until(lambda: page.evaluate("document.getElementById('live').dataset.fresh") == "fresh", "numbers")


@pytest.mark.journey
def test_a_day_from_the_phone(opened: Opened, runs: Path, phone: Phone) -> None:
    page = phone(opened.address + "/")
    page.wait_for_selector("text=is ready.")
    assert page.url.endswith("/home")
    tap = Taps(page)
    tap("a.main:has-text('Start a run')")
    page.wait_for_selector("#start-go")
    page.wait_for_selector("text=Emulated board")
    page.fill("[data-entry=area] input", "Front lawn")
    page.fill("[data-entry=wind] label input", "a breeze")
    tap("#start-go")
    page.wait_for_selector("[data-entry=wind] .wrong:not(:empty)")
    assert page.input_value("[data-entry=area] input") == "Front lawn", "nothing typed is lost"
    page.fill("[data-entry=wind] label input", "5")
    tap("#start-go")
    live(page)
    assert page.is_hidden("#next")

    tap("#refilled")
    tap("#refill-full")
    page.wait_for_selector("#undo:not([hidden])")
    tap("#undo")
    wait_told(page, "Refill undone.")
    page.dblclick("#stop")  # the second tap within the seconds in which the first one holds
    tap.count += 2
    page.wait_for_selector("#next:not([hidden])")
    assert page.is_hidden("#doing")
    tap("#see-run")
    page.wait_for_url("**/run?name=*")
    (path,) = runs.glob("*.sward")
    run = wait_until(lambda: (run := read_run(path)).complete and run, "the recorder has ended the file")
    assert [one.kind for one in as_meant(run.events) if one.kind == "refill"] == []
    noted = {one.detail["key"]: one.detail["value"] for one in run.events if one.kind == "note"}
    assert noted == {"area": "Front lawn", "wind": "5.0 mph"}

    page.goto(opened.address + "/")  # the next one: three taps when nothing has changed
    page.wait_for_selector("a.main:has-text('Start a run')")
    again = Taps(page)
    again("a.main:has-text('Start a run')")
    page.wait_for_selector("#start-go")
    wait_until(lambda: page.input_value("[data-entry=area] input") == "Front lawn", "filled in from the last time")
    again("#start-go")
    live(page)
    assert len(list(runs.glob("*.sward"))) == 2
    assert again.count <= 3
    print(f"taps: first run {tap.count}, next run {again.count}")


def test_a_second_run_waits_for_the_end_of_the_first(opened: Opened, phone: Phone) -> None:
    page = phone(opened.address + "/start")
    page.wait_for_selector("#start-go")
    page.click("#start-go")
    live(page)
    page.goto(opened.address + "/start")
    page.wait_for_selector("text=A run is being recorded")
    page.goto(opened.address + "/")
    live(page)  # the bare address leads to the run under way


def test_a_killed_recorder_is_told_on_the_page_and_the_run_goes_on(opened: Opened, runs: Path, phone: Phone) -> None:
    page = phone(opened.address + "/start")
    page.wait_for_selector("#start-go")
    page.click("#start-go")
    live(page)
    status = opened.get("/live/newest")
    assert "started again" not in status
    found = subprocess.run(["ps", "-ww", "-eo", "pid,args"], capture_output=True, text=True, check=True).stdout
    (pid,) = re.findall(rf"^ *(\d+) .* record --runs={re.escape(str(runs))}", found, re.MULTILINE)
    os.kill(int(pid), signal.SIGKILL)
    wait_until(lambda: "started again" in page.inner_text("#notice") + page.inner_text("#why"), "it is said")
    wait_until(lambda: len(list(runs.glob("*.sward"))) == 2, "a new run file")


def test_the_new_pages_can_be_used_by_everybody(opened: Opened, phone: Phone) -> None:
    for path in ("/home", "/start"):
        page = phone(opened.address + path)
        page.wait_for_selector("main .acts")
        wait_settled(page)
        look_at(page, path, PHONE)
    page.click("#start-go")
    live(page)
    page.click("#mark")
    wait_told(page, "Marked.")
    assert page.is_visible("#undo")
    look_at(page, "undo", PHONE)
    page.click("#mark")  # Undo and a word are offered for a while only
    page.click("#word")
    look_at(page, "a word for a mark", PHONE)
    assert [one for one in contrasts(page) if one["ratio"] < 7.0] == []
    assert [one for one in tap_targets(page) if one["height"] < 48] == []


def test_the_live_page_opens_without_the_computer_and_says_so(opened: Opened, phone: Phone) -> None:
    page = phone(opened.address + "/live")  # on the computer itself, where a browser allows it
    kept = "caches.keys().then(names => names.length && caches.match('/live').then(Boolean))"
    wait_until(lambda: page.evaluate("navigator.serviceWorker.ready.then(() => true)"), "the worker")
    wait_until(lambda: page.evaluate(kept), "the page is kept")
    page.reload()
    wait_until(lambda: page.evaluate("Boolean(navigator.serviceWorker.controller)"), "the worker looks after the page")
    page.context.set_offline(True)
    page.reload()
    wait_until(lambda: "No contact with the computer" in page.inner_text("#why"), "it says so")
    page.goto(opened.address + "/runs")
    assert page.inner_text("h1") == "Offline"
    page.context.set_offline(False)
    page.click("text=Try again")
    page.wait_for_selector("#runs-totals")


def test_the_pages_are_opened_to_the_network_from_the_page_itself(opened: Opened, phone: Phone, tmp_path: Path) -> None:
    page = phone(f"{opened.address}/guests")
    page.get_by_role("button", name="Open them to my network").click()
    page.wait_for_selector("text=from the next start of Swardflow on")
    assert (tmp_path / "settings.toml").read_text() == "share = true\n"
