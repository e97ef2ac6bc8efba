"""The whole way on one phone: from an empty folder to a printed record and a backup, by a finger that is counted.

The board is a pseudo-terminal that reports as the sprayer of the answers would; nothing is done at a terminal once the
program is open.
"""

from __future__ import annotations

import os
import re
import signal
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from host.journal import read_run
from tests.dashboards.calibrating import ENTER
from tests.dashboards.processes import wait_until
from tests.dashboards.test_open import Opened, live, says
from tests.dashboards.test_setup_page import ANSWERS, Finger, go_through_steps
from tests.dashboards.walking import BoardOnPty

pytestmark = [pytest.mark.browser, pytest.mark.journey]

Phone = Callable[..., Any]
# The sprayer that BoardOnPty moves: see walking.py.
SPRAYER = ANSWERS | {"tip_flow": "0.35", "circumference": "3.15"}
AMOUNT = "[data-entry=amount] input:visible"


@pytest.fixture
def opened(runs: Path, tmp_path: Path, board: BoardOnPty, monkeypatch: pytest.MonkeyPatch) -> Iterator[Opened]:
    """The program open on an empty folder; the board is at the port of the settings."""
    monkeypatch.setenv("SWARDFLOW_SETTINGS", "")  # put back after the test
    (tmp_path / "settings.toml").write_text(f'port = "alt://{board.port}"\n', encoding="utf-8")
    with Opened(runs, tmp_path) as process:
        yield process
        assert process.end(signal.SIGINT, 30) in (0, -2)


def menu(finger: Finger, page: str) -> None:
    finger.tap("#pages-open")
    finger.tap(f"#pages-list a:has-text('{page}')")
    finger.page.wait_for_selector("main h1", state="attached")


def still(board: BoardOnPty) -> None:
    board.walk.spraying, board.walk.pace_mph, board.walk.pressure = False, 0.0, round(0.1 * 1023 * 16)


def spraying(board: BoardOnPty) -> None:
    from tests.dashboards.walking import FORTY_PSI, TARGET_MPH

    board.walk.spraying, board.walk.pace_mph, board.walk.pressure = True, TARGET_MPH, FORTY_PSI


def set_up_and_try(finger: Finger, board: BoardOnPty) -> None:
    page = finger.page
    finger.tap("a.main:has-text('Set up my sprayer')")
    page.wait_for_selector("[data-entry=rate]")
    for entry, text in SPRAYER.items():
        finger.type(entry, text)
    finger.tap("#setup-go")
    finger.tap("#setup-result a:has-text('Try the board')")
    page.wait_for_selector("#bringup-port input")
    finger.tap("#bringup-go")
    page.wait_for_selector("#bringup-step:has-text('Leave everything alone')")
    go_through_steps(page, finger, board)


def plan(finger: Finger) -> None:
    page = finger.page
    menu(finger, "Plan")
    page.wait_for_selector("#plan-rate-result .headline")
    assert "1.00 gal/1000 ft²" in page.inner_text("#plan-rate-result")
    finger.tap("a.press:has-text('Calibrate')")


def start(finger: Finger, **entries: str) -> None:
    page = finger.page
    page.wait_for_selector("#start-go")
    for entry, text in entries.items():
        finger.type(entry, text)
    finger.tap("#start-go")
    live(page)


def calibrate(finger: Finger, board: BoardOnPty, runs: Path) -> None:
    """With clean water: the meter by two catches, then one catch of each of four nozzles."""
    page = finger.page
    page.wait_for_selector("main a.press:has-text('Start a run')")
    finger.tap("main a.press:has-text('Start a run')")
    start(finger, product="clean water")
    spraying(board)
    menu(finger, "Calibrate")
    page.wait_for_selector("#calibrate-act button:visible")
    for _ in (1, 2):
        finger.tap("button:visible:has-text('Start')")
        wait_until(lambda: pulses(page) > 100, "pulses", 20)
        finger.tap("button:visible:has-text('Stop')")
        page.wait_for_selector(AMOUNT)
        finger.tap(AMOUNT)
        # 450 pulses to the litre; a fluid ounce is 29.5735 mL (NIST Handbook 44).
        page.fill(AMOUNT, f"{pulses(page) / 450e-3 / 29.5735:.1f}")
        finger.tap(ENTER)
    save_card(finger, runs, "meter")
    finger.tap("#calibrate-kind label:has-text('Catch test')")
    finger.tap("label:visible:has-text('Nozzle by nozzle')")
    page.click("summary:visible:has-text('More')")  # not counted: a keeper catches for longer
    page.fill("[data-entry=catch_for] input:visible", "5")
    page.click("summary:visible:has-text('More')")
    finger.tap("button:visible:has-text('Catch for')")
    for number in (1, 2, 3, 4):
        page.wait_for_selector(AMOUNT, timeout=40_000)
        finger.tap(AMOUNT)
        page.fill(AMOUNT, f"{0.35 / 60 * 5 * 128:.2f}")
        if number < 4:
            finger.tap(f"button:visible:has-text('Save, start nozzle {number + 1}')")
            page.wait_for_selector("button:visible:has-text('Stop')")
        else:
            finger.tap(ENTER)
    save_card(finger, runs, "boom")
    menu(finger, "Live")
    stop(finger)


def pulses(page: Any) -> int:
    return int(re.sub(r"\D", "", page.inner_text("#calibrate-counted")) or "0")


def save_card(finger: Finger, runs: Path, kind: str) -> None:
    page = finger.page
    button = "#calibrate-save:visible button.main:enabled"
    page.wait_for_selector(button)
    finger.tap(button)
    words = ("all the same", "New runs will use it")
    wait_until(lambda: any(each in page.inner_text("#calibrate-notice") for each in words), "an answer", 20)
    if "all the same" in page.inner_text("#calibrate-notice"):
        finger.tap("#calibrate-save button:has-text('Save all the same')")
    wait_until(lambda: list((runs / "cards").rglob(f"*-{kind}.toml")), f"the card of the {kind}", 20)


def stop(finger: Finger) -> None:
    finger.tap("#stop")
    finger.tap("#stop")
    finger.page.wait_for_selector("#next:not([hidden])", timeout=20_000)


def mix(finger: Finger) -> None:
    page = finger.page
    menu(finger, "Mix")
    page.wait_for_selector("[data-entry=product] select[data-ready]")
    for entry, text in {"product": "2", "name": "Clover killer", "area": "5000"}.items():
        finger.tap(f"[data-entry={entry}]:visible input:not([hidden]) >> nth=0")
        page.fill(f"[data-entry={entry}]:visible input >> nth=0", text)
    finger.tap("#mix-go")
    page.wait_for_selector("#mix-sheet .headline")
    finger.tap("#mix-keep")
    page.wait_for_selector("#mix-kept:has-text('Kept as')")
    finger.tap("main a.press:has-text('Start a run')")


def spray(finger: Finger, board: BoardOnPty) -> None:
    """Two passes: a nozzle clogs in the first and is cleaned; a refill between them."""
    page, walk = finger.page, board.walk
    spraying(board)
    wait_until(lambda: page.inner_text("#words") == "On target", "on target", 20)
    begun = walk.time_s
    wait_until(lambda: walk.time_s > begun + 20, "a healthy pass", 60)
    walk.flow_share = 0.75
    page.wait_for_selector("#fault:not([hidden])", timeout=20_000)
    page.wait_for_selector("#fault-seen:visible", timeout=20_000)
    finger.tap("#fault-seen")
    walk.spraying, walk.pace_mph = False, 0.0
    finger.tap("#refilled")
    finger.tap("#refill-full")
    says(page, "Refill recorded")
    walk.flow_share = 1.0
    spraying(board)
    begun = walk.time_s
    wait_until(lambda: walk.time_s > begun + 15, "a second pass", 60)
    still(board)


def keep_record(finger: Finger, tmp_path: Path) -> None:
    page = finger.page
    finger.tap("#see-run")
    page.wait_for_selector("#run-body .headline", timeout=30_000)
    assert "on target" in page.inner_text("#run-body").lower()
    finger.tap("#record-form summary")
    finger.tap("[data-entry='operator'] input:visible")
    page.fill("[data-entry='operator'] input:visible", "Ann Hall")
    finger.tap("#record-save")
    page.wait_for_selector("#record-said:has-text('Saved')")
    finger.tap("a:has-text('Printable report')")
    page.wait_for_selector("text=Clover killer")
    printed = page.inner_text("body")
    for words in ("Ann Hall", "Clover killer", "Signature"):
        assert words.lower() in printed.lower(), words
    page.pdf(path=tmp_path / "record.pdf")
    assert (tmp_path / "record.pdf").read_bytes().startswith(b"%PDF")


def back_up(finger: Finger, address: str, tmp_path: Path) -> list[str]:
    page = finger.page
    page.goto(address + "/home")  # the printed page has no menu
    finger.tap("main a.press:has-text('Backup')")
    page.wait_for_selector("a:has-text('Save a backup')")
    with page.expect_download() as download:
        finger.tap("a:has-text('Save a backup')")
    download.value.save_as(tmp_path / "kept.zip")
    with zipfile.ZipFile(tmp_path / "kept.zip") as archive:
        return archive.namelist()


def test_from_an_empty_folder_to_a_printed_record_and_a_backup(
    opened: Opened, runs: Path, phone: Phone, board: BoardOnPty, tmp_path: Path
) -> None:
    still(board)
    page = phone(opened.address + "/")
    page.set_default_timeout(30_000)
    finger, counted, before = Finger(page), [], 0

    def step(name: str) -> None:
        nonlocal before
        counted.append(f"{name} {finger.taps - before}")
        before = finger.taps

    page.wait_for_selector("a.main:has-text('Set up my sprayer')")
    set_up_and_try(finger, board)
    step("set up and bring up")
    plan(finger)
    step("plan")
    calibrate(finger, board, runs)
    step("calibrate and catch test")
    mix(finger)
    step("mix")
    start(finger, area="Front lawn", operator="A. Hall", wind="4")
    step("start")
    spray(finger, board)
    stop(finger)
    step("spray, clog, refill, stop")
    keep_record(finger, tmp_path)
    step("verdict and record")
    names = back_up(finger, opened.address, tmp_path)
    step("backup")
    print(f"from nothing to a kept record: {finger.taps} taps ({'; '.join(counted)})")

    newest = max(runs.glob("*.sward"), key=os.path.getmtime)
    kinds = [event.kind for event in read_run(newest).events]
    assert "refill" in kinds and "mix" in kinds and "alarm_seen" in kinds
    assert {f"runs/{path.name}" for path in runs.glob("*.sward")} <= set(names)
    assert "runs/rigs/long-meadow.toml" in names and "settings.toml" in names
