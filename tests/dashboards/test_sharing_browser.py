"""A shared page in real browsers, at the address that the terminal shows."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboards.pages import PAGES
from host.journal import read_run
from tests.dashboards.page_looks import contrasts, tap_targets
from tests.dashboards.processes import Process, wait_until
from tests.dashboards.shared import SharedServer
from tests.dashboards.test_live_page import state, text, wait_for
from tests.dashboards.told import wait_told
from tests.dashboards.walking import RIG, BoardOnPty

pytestmark = pytest.mark.browser

Phone = Callable[..., Any]
SCRIPT = "<img src=x onerror=document.body.dataset.hit=1>"


class Shared:
    """Board, recorder with notes that are scripts, and a shared page."""

    def __init__(self, folder: Path) -> None:
        self.runs = folder / "runs"
        self.runs.mkdir()
        self.board = BoardOnPty()
        rig = folder / "rig.toml"
        toml = RIG.read_text(encoding="utf-8")
        named = next(line for line in toml.splitlines() if line.startswith("name = "))
        rig.write_text(toml.replace(named, f'name = "{SCRIPT}"'), encoding="utf-8")
        notes = [part for key in ("product", "area", "operator") for part in ("--note", f"{key}={SCRIPT}")]
        command = [
            "-m",
            "host.cli.main",
            "record",
            "--port",
            self.board.port,
            "--rig",
            str(rig),
            "--runs",
            str(self.runs),
        ]
        self.recorder = Process([*command, *notes], folder / "recorder.log")
        # The address alone leads to the live page once reports are there.
        wait_until(lambda: any(run.stat().st_size > 6_000 for run in self.runs.glob("*.sward")), "reports")
        self.server = SharedServer(self.runs, folder / "server.log")

    def end(self) -> None:
        self.server.end()
        self.recorder.end(signal.SIGINT)
        self.board.close()


@pytest.fixture
def shared(tmp_path: Path) -> Iterator[Shared]:
    made = Shared(tmp_path)
    yield made
    made.end()


def wait_live(page: Any) -> None:
    """After the step from the code into the pages."""
    page.wait_for_selector("#live")
    wait_for(page, "fresh", "fresh")


def test_the_link_opens_the_page_and_nothing_else_does(shared: Shared, phone: Phone) -> None:
    server = shared.server
    stranger = phone(f"http://{server.there}/")
    page = phone(server.link(server.there))
    wait_live(page)
    assert page.url == f"http://{server.there}/live"
    assert page.evaluate("document.cookie") == "", "out of reach of scripts"
    page.go_back()
    assert "key" not in page.url
    page.goto(f"http://{server.there}/")
    wait_for(page, "recording", "on")
    page.click("#mark")
    wait_told(page, "Marked.")
    assert page.wrong == []

    stranger.reload()
    assert stranger.locator("[data-field]").count() == 0
    assert stranger.input_value("#code") == ""
    for _ in range(2):
        stranger.goto(f"http://{server.there}/plan")
        assert stranger.locator("#code").count() == 1
    fetched = stranger.evaluate("fetch('/live/newest').then(answer => answer.status)")
    assert fetched == 403

    shared.recorder.end(signal.SIGINT)
    run = read_run(next(shared.runs.glob("*.sward")))
    assert [one.kind for one in run.events].count("mark") == 1


def test_the_code_can_be_typed(shared: Shared, phone: Phone) -> None:
    server = shared.server
    page = phone(f"http://{server.there}/")
    assert min(min(one["width"], one["height"]) for one in tap_targets(page)) >= 48
    assert min(one["ratio"] for one in contrasts(page)) >= 7
    page.fill("#code", "2222-2222")
    page.click("button")
    assert "Wrong code, or already used" in page.inner_text("[role=alert]")
    code = server.code()
    page.fill("#code", f"{code[:4]}-{code[4:]}".lower())
    page.keyboard.press("Enter")
    wait_live(page)
    assert page.url == f"http://{server.there}/live"


@pytest.mark.journey
def test_notes_and_names_are_text_on_every_page(shared: Shared, phone: Phone) -> None:
    page = phone(shared.server.link(shared.server.there))
    wait_live(page)
    for one in PAGES:
        page.goto(f"http://{shared.server.there}{one.path}")
        wait_live(page) if one.path == "/live" else page.wait_for_selector("main h1")
        assert page.evaluate("document.body.dataset.hit") is None, one.path
        assert page.locator("img[src=x]").count() == 0, one.path
    page.goto(f"http://{shared.server.there}/calibrate")
    page.wait_for_selector(".rig")
    assert SCRIPT in page.inner_text(".rig"), "it was there, as text"


def test_scripts_put_into_a_page_do_not_run(shared: Shared, phone: Phone) -> None:
    """Were there a hole in a page: the content security policy stands behind it."""
    page = phone(shared.server.link(shared.server.there))
    wait_live(page)
    page.evaluate("""() => {
        const script = document.createElement("script");
        script.textContent = "document.body.dataset.hit = 1";
        document.body.append(script);
        document.body.insertAdjacentHTML("beforeend", "<img src=x onerror='document.body.dataset.hit=1'>");
    }""")

    def refused() -> int:
        page.evaluate("0")  # what the browser said arrives with an answer of it
        return sum("Content Security Policy" in said for said in page.wrong)

    wait_until(lambda: refused() == 2, "both are refused")
    assert page.evaluate("document.body.dataset.hit") is None
    page.wrong.clear()  # they were wanted


def test_a_page_shared_anew_asks_for_its_code(shared: Shared, phone: Phone, tmp_path: Path) -> None:
    server = shared.server
    page = phone(server.link(server.there))
    wait_live(page)
    assert state(page, "page") == "live"
    server.end()
    again = SharedServer(shared.runs, tmp_path / "log of the second", port=server.port)
    try:
        page.wait_for_selector("#code")
        page.wrong.clear()  # what the page before was still loading when its server went
    finally:
        again.end()


@pytest.mark.journey
def test_who_may_only_look_can_open_every_page_and_change_nothing(shared: Shared, phone: Phone) -> None:
    server = shared.server
    keeper = phone(server.link(server.here))
    wait_live(keeper)
    keeper.goto(f"http://{server.here}/guests")
    keeper.get_by_text("Let somebody in").click()
    wait_until(lambda: text(keeper, ".code").replace("-", "") == server.code(), "the code of the terminal, on the page")
    keeper.click("#guests-new label:nth-child(2)")
    keeper.wait_for_selector("text=New guests may only look.")
    used = server.link(server.there)
    page = phone(used)
    wait_live(page)
    wait_for(page, "recording", "on")
    page.click("#mark")
    wait_told(page, "You may only look.")
    for one in PAGES:
        page.goto(f"http://{server.there}{one.path}")
        wait_live(page) if one.path == "/live" else page.wait_for_selector("main h1")
        wait_until(lambda: not page.locator("[data-dash-is-loading]").count(), "the page has its answers")
        if one.changes is not None and one.path != "/live":
            assert text(page, "#page-failed") == "", one.path
    page.goto(f"http://{server.there}/guests")
    page.get_by_text("Let somebody in").click()
    page.wait_for_selector("text=ask somebody who may do everything")
    page.fill("[data-entry=name] input", "Ann Hall")
    page.click("#guest-name-save")
    page.wait_for_selector("text=You may only look.")
    keeper.wait_for_selector(".guest-buttons button")
    keeper.click("text=Let do everything")
    keeper.wait_for_selector("text=Let only look")
    page.click("#guest-name-save")
    page.wait_for_selector("text=Your name is Ann Hall now.")
    page.goto(f"http://{server.there}/")
    wait_live(page)
    page.click("#mark")
    wait_told(page, "Marked.")

    keeper.wait_for_selector("text=Ann Hall")
    keeper.click("text=Turn out")
    page.wait_for_selector("#code")
    wait_until(lambda: "Turned out: Ann Hall." in server.output(), "the terminal says so")
    page.wrong.clear()  # what it was still loading was refused
    shared.recorder.end(signal.SIGINT)
    marks = [event.detail for event in read_run(next(shared.runs.glob("*.sward"))).events if event.kind == "mark"]
    assert marks == [{"text": "", "by": "Ann Hall"}]
