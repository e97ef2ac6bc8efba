"""Board on a pseudo-terminal, recorder, page: three processes and a browser, as in use."""

from __future__ import annotations

import json
import signal
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from host.events import as_meant
from host.journal import RunFile, read_run
from tests.dashboards.processes import PATIENCE_S, RecorderProcess, Server, wait_until
from tests.dashboards.test_live_page import state, text, wait_for
from tests.dashboards.told import wait_told
from tests.dashboards.walking import GALLON_L, BoardOnPty

Serve = Callable[..., Server]
Phone = Callable[..., Any]


def events(run: RunFile, kind: str) -> list[dict[str, Any]]:
    return [event.detail for event in run.events if event.kind == kind]


def test_killing_the_page_leaves_no_gap_in_the_recording(recorder: RecorderProcess, serve: Serve) -> None:
    server = serve()
    for _ in range(3):
        wait_until(lambda server=server: server.row().get("frame", -1) > 0, "numbers")
        server.child.send_signal(signal.SIGKILL)
        server.child.wait()
        server = serve(port=server.port)
    wait_until(lambda: server.row().get("frame", -1) > 35, "the page goes on")
    server.child.kill()
    assert recorder.end(signal.SIGINT) == 0
    run = read_run(recorder.run)
    assert run.complete
    assert run.wire_damage <= 1  # the port may be opened in the middle of a line
    assert len(run.frames) > 30
    assert np.unique(np.diff(run.frames["seq"].astype(int))).tolist() == [1]  # how late lines are: soak, test_load


# The tap and what the button says then, at once: it says so for four seconds.
TAP_STOP = "() => { const stop = document.getElementById('stop'); stop.click(); return stop.textContent; }"


def mark_again(page: Any) -> None:
    """A mark with words, and one that is taken back."""
    page.click("#mark")
    page.click("#word")
    page.fill("#naming-text", "gate <b>post</b>")
    page.keyboard.press("Enter")
    wait_told(page, "Marked: gate <b>post</b>.")
    page.click("#mark")
    wait_told(page, "Marked.")
    page.click("#undo")
    wait_told(page, "Mark undone.")
    assert page.is_hidden("#undo")


@pytest.mark.browser
def test_the_buttons_reach_the_run_file(recorder: RecorderProcess, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_for(page, "recording", "on")
    wait_for(page, "fresh", "fresh")
    order = []
    for _ in range(6):
        page.keyboard.press("Tab")
        order.append(page.evaluate("document.activeElement.id || document.activeElement.className"))
    assert order == ["skip", "pages-open", "span", "mark", "refilled", "stop"]

    page.click("#mark")
    wait_told(page, "Marked.")
    page.click("#refilled")
    page.fill("#refill-amount", "5")
    page.keyboard.press("Enter")
    wait_told(page, "Refill recorded: 5.00 gal added.")
    page.click("#refilled")
    page.fill("#refill-amount", "4 L")
    page.keyboard.press("Enter")
    wait_told(page, "Refill recorded: 4.0 L added.")
    page.click("#refilled")
    page.fill("#refill-amount", "50")
    page.keyboard.press("Enter")
    wait_until(lambda: "more than the tank holds, 25.00 gal" in text(page, "#refill-wrong"), "the slip, in the dialog")
    page.click("#refill .cancel")
    page.click("#refilled")
    page.fill("#refill-amount", "lots")
    page.click("#refill button[type=submit]")
    wait_until(lambda: "is not a number with a unit" in text(page, "#refill-wrong"), "the refusal, in the dialog")
    assert page.input_value("#refill-amount") == "lots", "and what was typed is still there"
    page.click("#refill .cancel")
    page.click("#refilled")
    page.click("#refill-full")
    wait_told(page, "Refill recorded: tank full.")
    wait_until(lambda: text(page, "[data-field=tank]") == "25.0", "a full tank of 25 gal on the page")

    mark_again(page)

    for tap in ("fault-mute", "fault-mute", "fault-seen"):  # hidden while nothing is wrong
        with page.expect_response("**/live/tell/*"):
            page.evaluate(f"document.getElementById('{tap}').click()")

    page.dblclick("#stop")  # the second tap within the seconds in which the first one holds
    wait_for(page, "recording", "ended")
    page.wait_for_selector("#next:not([hidden])")
    assert page.get_attribute("#see-run", "href") == f"/run?name={recorder.run.stem}"
    assert recorder.child.wait(PATIENCE_S) == 0
    run = read_run(recorder.run)
    assert run.complete
    marks = [event.detail.get("text") for event in as_meant(run.events) if event.kind == "mark"]
    assert marks == ["", "gate <b>post</b>"]
    added = [detail.get("added_m3") for detail in events(run, "refill")]
    assert added == [pytest.approx(5 * GALLON_L / 1000), pytest.approx(4e-3), None]
    taps = [one.kind for one in run.events if one.kind.startswith("alarm")]
    assert taps == ["alarm_muted", "alarm_unmuted", "alarm_seen"]
    assert run.trailer is not None
    assert run.trailer["reason"] == "stopped from the page"


@pytest.mark.browser
def test_a_first_tap_on_stop_is_forgotten(recorder: RecorderProcess, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_for(page, "recording", "on")
    wait_until(lambda: page.is_enabled("#stop"), "the button can be pressed")
    for _ in range(2):
        assert page.evaluate(TAP_STOP) == "Tap again to end"
        wait_until(lambda: text(page, "#stop") == "End run", "the tap is forgotten")
    page.click("#mark")  # answered after all that was asked before it
    wait_told(page, "Marked.")
    assert state(page, "recording") == "on", "one tap stops nothing"


@pytest.mark.browser
def test_a_silent_board_and_a_hanging_recorder_are_told_apart(
    board: BoardOnPty, recorder: RecorderProcess, serve: Serve, phone: Phone
) -> None:
    page = phone(serve().address)
    wait_for(page, "fresh", "fresh")
    board.quiet.set()
    wait_for(page, "fresh", "gone")
    wait_until(lambda: text(page, "#why").startswith("No report from the board for"), "the sentence")
    wait_for(page, "link", "silent")
    board.quiet.clear()
    wait_for(page, "fresh", "fresh")
    wait_for(page, "link", "ok")
    recorder.child.send_signal(signal.SIGSTOP)
    wait_for(page, "recording", "silent")
    assert text(page, "[data-field=recording_words]") == "Recorder not answering"
    wait_for(page, "fresh", "gone")
    wait_until(lambda: text(page, "#why").startswith("The recorder has not answered for"), "the sentence")
    recorder.child.send_signal(signal.SIGCONT)
    wait_for(page, "recording", "on")
    wait_for(page, "fresh", "fresh")


@pytest.mark.browser
def test_killing_the_recorder_is_seen(recorder: RecorderProcess, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_for(page, "recording", "on")
    recorder.child.kill()
    wait_for(page, "recording", "silent")
    wait_for(page, "fresh", "gone")
    assert page.is_disabled("#mark")


def test_the_polled_row_is_the_files_own(recorder: RecorderProcess, serve: Serve) -> None:
    server = serve()
    wait_until(lambda: server.row().get("frame", -1) > 10, "numbers")
    assert recorder.end(signal.SIGINT) == 0
    row = wait_until(lambda: (row := server.row())["recording"] == "ended" and row, "the end")
    run = read_run(recorder.run)
    assert row["frame"] == len(run.frames)
    assert json.dumps(row)
