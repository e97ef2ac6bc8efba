"""Each calibration through the page on a phone, from the first tap to the saved card; with a real recorder and server.

The board is an emulated one on a pseudo-terminal. Nothing is put in the place of clock, board or file.
"""

from __future__ import annotations

import math
import re
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboards.calibrate.page import LOOK_MS
from host.rig import load_rig
from tests.dashboards.calibrating import (
    act,
    choose,
    enter,
    fill,
    notice,
    open_calibrate,
    result,
    rows,
    save,
    wait_for_rows,
    wrong,
)
from tests.dashboards.processes import PATIENCE_S, Process, RecorderProcess, Server, free_port, wait_until
from tests.dashboards.walking import METRES_PER_PULSE, RIG, TARGET_MPH, BoardOnPty
from tests.dashboards.writing import GrowingRun, begin

pytestmark = pytest.mark.browser

Serve = Callable[..., Server]
Phone = Callable[..., Any]
WALKER = RIG.with_name("harrow-lea-walker.toml")


@pytest.fixture
def board(runs: Path, tmp_path: Path) -> Iterator[BoardOnPty]:
    """A board that is being recorded."""
    on_pty = BoardOnPty()
    recorder = RecorderProcess(on_pty.port, runs, tmp_path / "recorder.log")
    yield on_pty
    recorder.end()
    on_pty.close()


@pytest.fixture
def walker(runs: Path) -> Path:
    """The folder of a run of the rig without a wheel; it has ended."""
    writer = begin(runs / "2026-05-14T0915-bowling-green.sward", WALKER.read_text(encoding="utf-8"))
    writer.event("run_end", 1.0, reason="test")
    writer.close("complete", "test", 0, 1.0)
    return runs


def counted(page: Any) -> int:
    return int(re.sub(r"\D", "", page.inner_text("#calibrate-counted")) or "0")


@pytest.mark.journey
def test_boom_nozzle_by_nozzle(board: BoardOnPty, runs: Path, serve: Serve, phone: Phone) -> None:
    """Every nozzle gives what it is rated for; the board tells the pressure, the page times."""
    page = phone("about:blank")
    open_calibrate(page, serve(), "Catch test", "Nozzle by nozzle")
    wait_until(lambda: "40.0 psi by the board" in page.inner_text("#calibrate-about"), "the board's pressure")
    for number in range(1, 5):
        wait_until(lambda n=number: f"nozzle {n}" in page.inner_text("#calibrate-say"), f"nozzle {number}")  # type: ignore[misc]
        act(page, "Start")
        wait_until(lambda: counted(page) >= 2, "two seconds")
        act(page, "Stop")
        notice(page, "Caught for")
        seconds = float(re.findall(r"[\d.]+", page.inner_text("#calibrate-notice"))[0])
        fill(page, amount=f"{0.35 * seconds / 60 * 128:.4f} fl oz")  # 128 fl oz to the gallon: NIST Handbook 44
        enter(page)
        wait_until(lambda n=number: f"Nozzle {n} done" in page.inner_text("#calibrate-notice"), "taken")  # type: ignore[misc]
    wait_until(lambda: "All nozzles within 5 %" in result(page), "the verdict")
    card = save(page, runs / "cards", "boom")["measurements"]
    (catch,) = card["catches"]
    assert catch["pressure_kPa"] == pytest.approx(40 * 6.894757, rel=0.002)  # NIST SP 811: 1 psi = 6.894757 kPa
    # Q = k √P. 0.05 s of rounding in two seconds are 2.5 %.
    k = 0.35 * 3.785412e-3 / 60 / math.sqrt(40 * 6894.757)
    assert catch["orifice_coefficients_m3_s_per_root_Pa"] == [pytest.approx(k, rel=0.03)] * 4


@pytest.mark.journey
def test_boom_typed_in_that_cannot_be(growing: GrowingRun, runs: Path, serve: Serve, phone: Phone) -> None:
    """1000 mL at 30 psi and 1300 mL at 35 psi in the same 55 s: no sound nozzle does that. Common practice."""
    page = phone("about:blank")
    open_calibrate(page, serve(), "Catch test", "Type in numbers")
    fill(page, pressure="30 psi", time="0 s", nozzle_1="1000 mL", nozzle_2="30 psi", nozzle_3="-5 mL")
    enter(page)
    wrong(page, "time", 'The time is "0 s": give one above zero.')
    wrong(page, "nozzle_2", "which is not a volume")
    wrong(page, "nozzle_3", "must be above zero")
    wrong(page, "nozzle_4", "Enter what nozzle 4 gave.")
    assert rows(page) == []
    fill(page, time="55 s", **{f"nozzle_{n}": "1000 mL" for n in range(1, 5)})
    enter(page)
    notice(page, "pressure 1, 4 nozzles")
    fill(page, pressure="35 psi", time="55 s", **{f"nozzle_{n}": "1300 mL" for n in range(1, 5)})
    enter(page)
    notice(page, "pressure 2, 4 nozzles")
    wait_until(lambda: "do not fit together" in result(page), "it is said plainly")
    assert "gauge" in result(page) and "regulator" in result(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


@pytest.mark.journey
def test_pressure(board: BoardOnPty, runs: Path, serve: Serve, phone: Phone) -> None:
    """The transducer gives 10 to 90 % of 1023 counts over 0 to 104 psi, and the rig file says 0 to 100."""
    page = phone("about:blank")
    open_calibrate(page, serve(), "Pressure", "Measure now")
    for number, psi in enumerate((0.0, 26.0, 52.0), start=1):
        board.walk.pressure = round((0.1 + 0.8 * psi / 104) * 1023 * 16)
        seq = board.walk.seq
        wait_until(lambda at=seq: board.walk.seq > at + 5, "reports of that pressure")  # type: ignore[misc]
        act(page, "Start")
        page.wait_for_selector("#calibrate-act:visible button:has-text('Stop')")
        wait_until(lambda: "." in page.inner_text("#calibrate-counted"), "counts")
        act(page, "Stop")
        fill(page, gauge=f"{psi:g}")  # in the unit beside the field
        enter(page)
        wait_for_rows(page, number)
    choose(page, "Pressure", "Type in numbers")
    fill(page, gauge="78 psi", counts=f"{(0.1 + 0.8 * 78 / 104) * 1023:.2f}")
    page.click("summary:visible:has-text('More')")
    fill(page, gauge_step="0.5 psi", gauge_accuracy="0.5 psi")
    enter(page)
    wait_for_rows(page, 4)
    card = save(page, runs / "cards", "pressure")
    low, high = (float(text.removesuffix(" Pa")) / 6894.757 for text in card["pressure"]["span"])
    assert (low, high) == (pytest.approx(0, abs=0.05), pytest.approx(104, abs=0.05))
    # A gauge of ± 0.5 psi: 0.5 psi / √3 (GUM 4.3.7). Half of its variance grows to the highest point and counts whole
    # there. The other half is alike at all four, and zero is read without it: 1 + (39 · 39 / 3380 - 1/4) = 1.2 times in
    # a line of least squares, less where its weights take it into account.
    parts = card["measurements"]["components_kPa"]
    told = parts["accuracy of the gauge"] / (0.5 * 6.894757 / math.sqrt(3))
    assert math.sqrt(0.5) < told < math.sqrt((1.0 + 1.2**2) / 2)


@pytest.mark.journey
def test_wheel(board: BoardOnPty, runs: Path, serve: Serve, phone: Phone) -> None:
    """Laps over a course of about what the wheel rolls each time; a lap is saved as it ends."""
    walk = board.walk
    walk.pace_mph, walk.stops_at = 2 * TARGET_MPH, 0
    page = phone("about:blank")
    open_calibrate(page, serve(), "Wheel", "Measure now")
    act(page, "Start")
    wrong(page, "course", "Enter the length of the course.")
    course = 45 * METRES_PER_PULSE
    fill(page, course=f"{course:.2f} m")
    for number in range(1, 4):
        before = walk.turned
        act(page, "Start")
        page.wait_for_selector("#calibrate-act:visible button:has-text('Stop')")
        walk.stops_at = before + 44
        wait_until(lambda end=walk.stops_at: walk.turned >= end, "the wheel rolls")  # type: ignore[misc]
        wait_until(lambda at=before: counted(page) == walk.turned - at, "all pulses are counted")  # type: ignore[misc]
        act(page, "Stop")
        assert wait_for_rows(page, number)[-1][1] == str(walk.turned - before)
    card = save(page, runs / "cards", "wheel", anyway=True)  # laps may end a pulse or two apart
    turn = float(card["wheel"]["circumference"].removesuffix(" m"))
    assert turn == pytest.approx(10 * METRES_PER_PULSE, rel=0.1)
    expected = 10 * course / (sum(card["measurements"]["pulses"]) / 3)
    assert turn == pytest.approx(expected, rel=1e-6)


def lap(page: Any, number: int) -> tuple[float, float]:
    """Time a lap of some five seconds with the page's stopwatch; between which seconds it must be.

    Laps that differ 1.5-fold are refused. On a busy computer a tap may come so late: then that lap is timed again.
    """
    for _ in range(5):
        earliest = time.monotonic()
        act(page, "Start")
        page.wait_for_selector("#calibrate-act:visible button:has-text('Stop')")
        begun = time.monotonic()
        wait_until(lambda: counted(page) >= 5, "five seconds")
        ending = time.monotonic()
        act(page, "Stop")
        wait_until(lambda: len(rows(page)) == number or "-fold" in page.inner_text("#calibrate"), "an answer")
        if len(rows(page)) == number:
            return ending - begun, time.monotonic() - earliest
        undo(page, number - 1)
    pytest.fail("no two laps alike")


def undo(page: Any, left: int) -> None:
    page.click("button:has-text('Undo')")
    wait_for_rows(page, left)


@pytest.mark.journey
def test_timed_course(walker: Path, serve: Serve, phone: Phone) -> None:
    """The page's stopwatch against this test's own: two passes timed, a third undone, another one typed in."""
    page = phone("about:blank")
    open_calibrate(page, serve(), "Walking speed", "Stopwatch")
    act(page, "Start")
    wrong(page, "course", "Enter the length of the course.")
    fill(page, course="8 m")
    bounds = [lap(page, number) for number in (1, 2, 3)]
    undo(page, 2)
    choose(page, "Walking speed", "Type in numbers")
    fill(page, course="9 m", time="6 s")
    enter(page)
    wrong(page, "course", "All laps of one calibration go over one course")
    fill(page, course="")
    enter(page)
    wait_for_rows(page, 3)
    wait_until(lambda: "the speed is assumed then" in result(page), "the pace")
    card = save(page, walker / "cards", "course", anyway=True)  # no two laps alike, and less so on a busy computer
    assert card["course"]["distance"] == "8 m"
    first, second, typed = card["measurements"]["times_s"]
    assert bounds[0][0] <= first <= bounds[0][1]
    assert bounds[1][0] <= second <= bounds[1][1]
    assert typed == 6


def test_a_rig_that_has_no_such_part(walker: Path, serve: Serve, phone: Phone) -> None:
    page = phone("about:blank")
    page.goto(serve().address + "/calibrate")
    page.wait_for_selector("#calibrate-act button:visible")
    offered = page.eval_on_selector_all(
        "#calibrate-kind label", "labels => labels.map(label => label.innerText.trim())"
    )
    assert offered == ["Flow meter", "Catch test", "Pressure", "Walking speed"]
    assert load_rig(WALKER).wheel is None


def test_the_live_page_says_that_a_timed_pace_is_assumed(walker: Path, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_until(lambda: page.inner_text("[data-field=pace_label]") == "speed not measured", "it is said")


class ToyServer(Process):
    """The pages with a kind of calibration that none of them knows."""

    def __init__(self, runs: Path, log: Path) -> None:
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        super().__init__(["-m", "tests.dashboards.toy_pages", str(runs), str(self.port)], log)
        self.wait_ready(self._answers, "the server answers")

    def _answers(self) -> bool:
        assert self.child.poll() is None, self.output()
        try:
            with urllib.request.urlopen(f"{self.address}/calibrate", timeout=PATIENCE_S):
                return True
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            return False


def test_a_toy_kind_from_first_tap_to_saved_card(growing: GrowingRun, runs: Path, tmp_path: Path, phone: Phone) -> None:
    """No page knows kinds by name: one that is only registered is offered, timed, typed, undone, saved and listed."""
    with ToyServer(runs, tmp_path / "toy.log") as server:
        page = phone("about:blank")
        open_calibrate(page, server, "Hose", "Stopwatch")
        act(page, "Start")
        wrong(page, "hose", "Enter the length of the hose.")
        fill(page, hose="10 m")
        act(page, "Start")
        wait_until(lambda: counted(page) >= 1, "a second")
        act(page, "Stop")
        notice(page, "Fill 1 saved.")
        choose(page, "Hose", "Type in numbers")
        fill(page, time="4 s")
        enter(page)
        wait_for_rows(page, 2)
        page.click("button:has-text('Undo')")
        wait_for_rows(page, 1)
        card = save(page, runs / "cards", "hose")
        assert 0 < card["measurements"]["speed_m_s"] < 10 / 0.5
        page.goto(server.address + "/rig")
        wait_until(lambda: "± 10.0 %" in page.inner_text("main"), "its status")


@pytest.mark.journey
def test_a_slip_is_asked_about_and_saved_only_with_a_second_tap(
    growing: GrowingRun, runs: Path, serve: Serve, phone: Phone
) -> None:
    """Litres typed as gallons: the question stands above the result, no card is saved by one tap; then it is undone."""
    page = phone("about:blank")
    open_calibrate(page, serve(), "Flow meter", "Type in numbers")
    for number, (pulses, amount) in enumerate((("1043", "2.31 gal"), ("1039", "2.30 gal")), start=1):
        fill(page, pulses=pulses, amount=amount, time="55 s")
        enter(page)
        wait_for_rows(page, number)
    wait_until(lambda: "litres typed as gallons" in result(page), "the question")
    page.click("#calibrate-save button.main")
    notice(page, "If it is right as it is, save it all the same.")
    assert not (runs / "cards").exists() or not list((runs / "cards").rglob("*.toml"))
    page.click("#calibrate-save button:has-text('Save all the same')")
    notice(page, "New runs will use it")
    page.click("#cards summary")
    page.click("#cards button:has-text('Stop using')")
    wait_until(lambda: "New runs will use the rig file" in page.inner_text("#cards-notice"), "it is not used")
    assert [path.parent.name for path in (runs / "cards").rglob("*.toml")] == ["unused"]
    page.click("#cards button:has-text('Undo the last change')")
    wait_until(lambda: "Undone" in page.inner_text("#cards-notice"), "undone")
    wait_until(lambda: "in use" in page.inner_text("#cards-list"), "it is in use again")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_a_network_slower_than_the_page_asks_shows_every_step_all_the_same(
    growing: GrowingRun, serve: Serve, phone: Phone
) -> None:
    """Dash drops the answer to what has been asked again meanwhile: the page waits for it before it asks again."""
    page = phone("about:blank")
    page.goto(serve().address + "/calibrate")
    page.wait_for_selector("#calibrate-act:visible button:has-text('Start')")
    slow = {"offline": False, "latency": 2.5 * LOOK_MS, "downloadThroughput": -1, "uploadThroughput": -1}
    page.context.new_cdp_session(page).send("Network.emulateNetworkConditions", slow)
    choose(page, "Flow meter", "Type in numbers")
    page.wait_for_selector("[data-entry=pulses] input:visible")
