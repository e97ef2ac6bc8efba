"""The whole way on one phone: from an empty folder to a printed record and a backup, by a finger that is counted.

The board is a pseudo-terminal that reports as the sprayer of the answers would; nothing is done at a terminal once the
program is open. The same way in each of the engines that phones have.
"""

from __future__ import annotations

import math
import os
import re
import signal
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest

from host.journal import read_run
from tests.dashboards.engines import ENGINES, MISSING, Chromium, started
from tests.dashboards.processes import wait_until
from tests.dashboards.screen import Engine, Screen
from tests.dashboards.sessions import download
from tests.dashboards.test_open import Opened
from tests.dashboards.test_setup_page import ANSWERS, go_through_steps
from tests.dashboards.walking import FORTY_PSI, TARGET_MPH, BoardOnPty

# Three minutes for each engine, of which most are the sprayer's own.
pytestmark = [pytest.mark.browser, pytest.mark.timeout(900)]

# The sprayer that BoardOnPty moves: see walking.py.
SPRAYER = ANSWERS | {"tip_flow": "0.35", "circumference": "3.15"}
AMOUNT = "[data-entry=amount] input"
ACT, ENTER, NEXT = "#calibrate-act button", '[id=\'{"press":"enter"}\']', '[id=\'{"press":"next"}\']'


@pytest.fixture
def opened(runs: Path, tmp_path: Path, board: BoardOnPty, monkeypatch: pytest.MonkeyPatch) -> Iterator[Opened]:
    """The program open on an empty folder; the board is at the port of the settings."""
    monkeypatch.setenv("SWARDFLOW_SETTINGS", "")  # put back after the test
    (tmp_path / "settings.toml").write_text(f'port = "alt://{board.port}"\n', encoding="utf-8")
    with Opened(runs, tmp_path) as process:
        yield process
        assert process.end(signal.SIGINT, 30) in (0, -2)


# One engine is enough for each change; all three would take a third of the time that the whole of .ci/run has.
@pytest.fixture(
    params=[
        pytest.param("Chromium", marks=pytest.mark.journey),
        *(pytest.param(name, marks=pytest.mark.soak) for name in ENGINES),
    ]
)
def engine(
    request: pytest.FixtureRequest, opened: Opened, tmp_path: Path, phone: Callable[..., Any]
) -> Iterator[Engine]:
    """A browser that the program has let in."""
    if request.param == "Chromium":
        yield Chromium(phone("about:blank"))
        return
    if missing := MISSING[request.param]():
        pytest.skip(missing)
    with started(request.param, tmp_path) as engine:
        yield engine


def menu(screen: Screen, page: str) -> None:
    screen.tap("#pages-open")
    screen.tap("#pages-list a", page)
    wait_until(lambda: screen.engine.evaluate("() => document.title").startswith(f"{page} "), page, 30)


def psi(pressure: float) -> int:
    """As the transducer of walking.py says it, in sixteenths of a count."""
    return round((0.1 + 0.8 * pressure / 100) * 1023 * 16)


def still(board: BoardOnPty) -> None:
    board.walk.spraying, board.walk.pace_mph, board.walk.pressure = False, 0.0, psi(0.0)


def spraying(board: BoardOnPty) -> None:
    board.walk.spraying, board.walk.pace_mph, board.walk.pressure = True, TARGET_MPH, FORTY_PSI


def set_up_and_try(screen: Screen, board: BoardOnPty) -> None:
    screen.tap("a.main", "Set up my sprayer")
    screen.wait("[data-entry=rate] input")
    screen.enter(**SPRAYER)
    screen.tap("#setup-go")
    screen.tap("#setup-result a", "Try the board")
    screen.wait("#bringup-port label")
    screen.tap("#bringup-go")
    screen.wait("#bringup-step", "Leave everything alone")
    go_through_steps(screen, board)


def plan(screen: Screen) -> None:
    menu(screen, "Plan")
    screen.wait("#plan-rate-result .headline")
    assert "1.00 gal/1000 ft²" in screen.text("#plan-rate-result")
    screen.tap("a.press", "Calibrate")


def live(screen: Screen) -> None:
    screen.wait("#live[data-fresh=fresh]")


def calibrate(screen: Screen, board: BoardOnPty, runs: Path) -> None:
    """With clean water: the meter by two catches, then one catch of each of four nozzles."""
    screen.tap("main a.press", "Start a run")
    screen.wait("#start-go")
    screen.enter(product="clean water")
    screen.tap("#start-go")
    live(screen)
    spraying(board)
    menu(screen, "Calibrate")
    screen.tap(ACT, "Start")
    for number in (1, 2):
        wait_until(lambda: pulses(screen) < 100, "the count begins anew", 20)
        wait_until(lambda: pulses(screen) > 100, "pulses", 20)
        screen.tap(ACT, "Stop")
        screen.wait(AMOUNT)
        # 450 pulses to the litre; a fluid ounce is 29.5735 mL (NIST Handbook 44).
        screen.type(AMOUNT, f"{pulses(screen) / 450e-3 / 29.5735:.1f}")
        screen.tap(NEXT if number == 1 else ENTER)
    save_card(screen, runs, "meter")
    screen.tap("#calibrate-kind label", "Catch test")
    screen.tap("label", "Nozzle by nozzle")
    screen.tap("summary", "More")
    screen.type("[data-entry=catch_for] input", "5")  # a keeper catches for longer
    screen.tap("summary", "More")
    screen.tap(ACT, "Catch for")
    for number in (1, 2, 3, 4):
        screen.wait(AMOUNT, timeout_s=40)
        screen.type(AMOUNT, f"{0.35 / 60 * 5 * 128:.2f}")
        if number < 4:
            screen.tap(NEXT, f"Save, start nozzle {number + 1}")
            screen.wait(ACT, "Stop")
        else:
            screen.tap(ENTER)
    save_card(screen, runs, "boom")
    menu(screen, "Live")
    live(screen)
    stop(screen)


def pulses(screen: Screen) -> int:
    return int(re.sub(r"\D", "", screen.text("#calibrate-counted")) or "0")


def save_card(screen: Screen, runs: Path, kind: str) -> None:
    button, kept, asked = "#calibrate-save button.main:enabled", "New runs will use it", "Save all the same"
    # A card that is asked about from the beginning says so on its button.
    wait_until(lambda: screen.sees(button, "Save card") or screen.sees(button, asked), "a card to save", 60)
    if screen.sees(button, "Save card"):
        screen.tap(button, "Save card")
    wait_until(lambda: screen.sees("#calibrate-notice", kept) or screen.sees(button, asked), "an answer", 20)
    if screen.sees(button, asked):
        screen.tap(button, asked)
    wait_until(lambda: list((runs / "cards").rglob(f"*-{kind}.toml")), f"the card of the {kind}", 20)


def stop(screen: Screen) -> None:
    """Two taps; on a machine so busy that the first has worn off by the second, two more."""
    for patience_s in (10.0, 10.0, 30.0):
        screen.tap("#stop")
        screen.tap("#stop")
        with suppress(AssertionError):
            return screen.wait("#next", timeout_s=patience_s)
    raise AssertionError("the run does not stop")


def mix(screen: Screen) -> None:
    menu(screen, "Mix")
    screen.wait("[data-entry=product] select[data-ready]")
    screen.enter(product="2", name="Clover killer", area="5000")
    screen.tap("#mix-go")
    screen.wait("#mix-sheet .headline")
    screen.tap("#mix-keep")
    screen.wait("#mix-kept", "Kept as")
    screen.tap("main a.press", "Start a run")


def start(screen: Screen) -> None:
    screen.wait("#start-go")
    screen.enter(area="Front lawn", operator="A. Hall", wind="4")
    screen.tap("#start-go")
    live(screen)


def spray(screen: Screen, board: BoardOnPty) -> None:
    """Two passes: a nozzle clogs in the first and is cleaned; a refill and a break between them."""
    walk = board.walk
    spraying(board)
    screen.wait("#words", "On target")
    begun = walk.time_s
    wait_until(lambda: walk.time_s > begun + 25, "a healthy pass", 60)
    # One of four nozzles clogged; the pump puts the pressure up for the other three, which pass k √P each.
    walk.pressure, walk.flow_share = psi(46.0), 0.75 * math.sqrt(46.0 / 40.0)
    screen.wait("#live[data-advice=stop]", timeout_s=60)
    screen.tap("#fault-seen")
    # Nobody closes a valve at once; a clog of two seconds is too short to be told from a transducer that moved.
    begun = walk.time_s
    wait_until(lambda: walk.time_s > begun + 5, "the valve is closed", 60)
    walk.spraying, walk.pace_mph = False, 0.0
    screen.tap("#refilled")
    screen.tap("#refill-full")
    screen.wait("#notice", "Refill recorded")
    screen.tap("#pause")
    screen.wait("#words", "Paused")
    walk.flow_share = 1.0
    spraying(board)  # who sprays has resumed
    screen.wait("#words", "On target")
    screen.wait("#pause", "Pause work")
    begun = walk.time_s
    wait_until(lambda: walk.time_s > begun + 15, "a second pass", 60)
    still(board)


def keep_record(screen: Screen) -> None:
    screen.tap("#see-run")
    screen.wait("#run-body .headline")
    assert "clog" in screen.text("#run-body").lower()
    screen.tap("#record-form summary")
    screen.type("[data-entry=licence] input", "AB 1234")
    screen.tap("#record-save")
    screen.wait("#record-said", "Saved")
    screen.tap("a", "Printable report")
    screen.wait("body", "Signature")
    for words in ("A. Hall", "Clover killer", "AB 1234", "Breaks"):
        assert words in screen.text("body"), words
    printed = screen.engine.printed()
    assert printed is None or printed.startswith(b"%PDF")


def back_up(screen: Screen, address: str) -> list[str]:
    screen.engine.goto(address + "/home")  # the printed page has no menu
    screen.tap("main a.press", "Backup")
    screen.wait("a.press.main", "Save a backup")
    # What a browser asks about a file that it is given is not the page's: the file is fetched by its link.
    link = screen.engine.evaluate("() => document.querySelector('main a.press.main').href")
    screen.taps += 1
    with zipfile.ZipFile(BytesIO(download(link))) as archive:
        return archive.namelist()


def test_from_an_empty_folder_to_a_printed_record_and_a_backup(
    opened: Opened, runs: Path, engine: Engine, board: BoardOnPty
) -> None:
    still(board)
    screen, counted, before, begun = Screen(engine), [], 0, time.monotonic()

    def step(name: str) -> None:
        nonlocal before, begun
        counted.append(f"{name} {screen.taps - before} in {time.monotonic() - begun:.0f} s")
        before, begun = screen.taps, time.monotonic()

    engine.goto(opened.address + "/")
    set_up_and_try(screen, board)
    step("set up and bring up")
    plan(screen)
    step("plan")
    calibrate(screen, board, runs)
    step("calibrate and catch test")
    mix(screen)
    step("mix")
    start(screen)
    step("start")
    spray(screen, board)
    stop(screen)
    step("spray, clog, refill, stop")
    keep_record(screen)
    step("verdict and record")
    names = back_up(screen, opened.address)
    step("backup")
    print(f"{engine.name}, from nothing to a kept record: {screen.taps} taps ({'; '.join(counted)})")

    newest = max(runs.glob("*.sward"), key=os.path.getmtime)
    kinds = [event.kind for event in read_run(newest).events]
    assert "refill" in kinds and "mix" in kinds and "alarm_seen" in kinds
    assert {f"runs/{path.name}" for path in runs.glob("*.sward")} <= set(names)
    assert "runs/rigs/long-meadow.toml" in names and "settings.toml" in names
