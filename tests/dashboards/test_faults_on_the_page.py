"""A fault on the live page: words first, then brightness, sound and vibration, until seen or muted."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dashboards.live.faults import NOTHING, fault_texts
from dashboards.live.recorder_client import RecorderClient
from dashboards.live.run_screen import RunScreen
from host.errors import UserError
from host.pipeline.faults import Fault
from tests.dashboards.processes import Server, wait_until
from tests.dashboards.writing import GrowingRun

CLOG = Fault(1, "clog", ("meter_low",), 0.7, 10.0, 10.3, None, -0.25, 0.01, 1.0, 0.04, 30.0, True)


def test_texts_of_a_fault() -> None:
    texts = fault_texts([CLOG.row(20.0)], "metric")
    assert texts["fault"].startswith("Nozzle clogged, about 1.0 nozzles' worth, or flow meter reads low")
    assert texts["fault_check"] == "Check first: look along the boom for a fan that is thin or missing."
    assert texts["fault_tell"].startswith("To tell them apart: All fans whole")
    assert texts["fault_ground"] == "30 m² under-applied since then."
    assert texts["fault_urgent"]
    assert fault_texts([], "us") == NOTHING
    from_the_start = replace(CLOG, against_catch=True)
    assert fault_texts([from_the_start.row(20.0)], "us")["fault"].endswith("against the catch test")


def test_an_urgent_fault_stands_before_a_newer_one_that_can_wait() -> None:
    wear = Fault(2, "wear", (), 1.0, 12.0, 12.3, None, 0.05, 0.01, 0.2, 0.04, 1.0, True)
    texts = fault_texts([CLOG.row(20.0), wear.row(20.0)], "us")
    assert texts["fault_number"] == 1
    assert texts["fault_more"] == "1 more"


def test_the_board_is_asked_to_sound_and_a_recorder_that_refuses_does_no_harm(tmp_path: Path) -> None:
    asked: list[dict[str, Any]] = []

    def ask(run: Path, request: dict[str, Any]) -> dict[str, Any]:
        asked.append(request)
        return {"state": "recording"}

    door = RecorderClient(ask)
    door.watch(tmp_path / "run.sward")
    door.start()
    door.sound_alarm()
    wait_until(lambda: any(request["ask"] == "output" for request in asked), "the buzzer")
    door.close()
    assert next(r for r in asked if r["ask"] == "output") == {"ask": "output", "buzzer": 1, "light": 1, "tenths": 30}


def test_taps_are_told_to_the_recorder_and_one_that_is_gone_does_no_harm(tmp_path: Path) -> None:
    asked: list[dict[str, Any]] = []

    def ask(run: Path, request: dict[str, Any]) -> dict[str, Any]:
        asked.append(request)
        if request["kind"] == "alarm_unmuted":
            raise UserError("gone")
        return {"done": True}

    door = RecorderClient(ask)
    door.watch(tmp_path / "run.sward")
    for tap in ("seen", "sound-off", "sound-on"):
        assert door.tell(tap, {}) == "Noted."
    assert [request["kind"] for request in asked] == ["alarm_seen", "alarm_muted", "alarm_unmuted"]


@pytest.fixture
def sprayed(runs: Path) -> Iterator[GrowingRun]:
    """A run with half a minute of steady spraying in it, from which a baseline has been learned."""
    run = GrowingRun(runs / "2026-05-14T0915-bowling-green.sward", lines=300)
    yield run
    run.end()


def test_a_screen_raises_the_alarm_once(sprayed: GrowingRun) -> None:
    sprayed.walk.flow_share = 0.75
    wait_until(lambda: sprayed.walk.seq > 330, "three seconds of it")
    sprayed.stop()
    screen = RunScreen("run")
    screen.push(sprayed.path.read_bytes())
    assert screen.raised == 1
    assert screen.row()["fault_number"] == 1


@pytest.mark.browser
def test_words_brightness_sound_seen_and_muted(
    sprayed: GrowingRun, serve: Callable[..., Server], phone: Callable[..., Any]
) -> None:
    page = phone(serve().address)
    wait_until(lambda: page.evaluate("document.getElementById('live').dataset.fresh") == "fresh", "numbers")
    assert page.is_hidden("#fault")
    sprayed.walk.flow_share = 0.75  # one nozzle of four clogs
    page.wait_for_selector("#fault:not([hidden])")
    assert "clogged" in page.inner_text("#fault .fault-words") or "meter" in page.inner_text("#fault .fault-words")
    assert page.inner_text("[data-field=fault_check]").startswith("Check first: look along the boom")
    # The first word is silent: the alarm sounds once the fault is called.
    wait_until(lambda: page.get_attribute("#fault", "data-sounding") == "true", "the fault to be called")
    assert page.is_visible("#sound")  # not yet touched: it cannot be heard
    page.click("#rate")
    wait_until(lambda: page.is_hidden("#sound"), "the sound to be allowed")
    beeps = int(page.get_attribute("#fault", "data-beeps"))
    wait_until(lambda: int(page.get_attribute("#fault", "data-beeps")) > beeps, "another beep")
    page.click("#fault-mute")
    assert page.get_attribute("#fault", "data-sounding") == "false"
    assert page.inner_text("#fault-mute") == "Sound back on"
    page.click("#fault-mute")
    assert page.get_attribute("#fault", "data-sounding") == "true"
    page.click("#fault-seen")
    assert page.get_attribute("#fault", "data-sounding") == "false"
    assert page.is_visible("#fault")  # the words stay
    sprayed.walk.flow_share = 1.0  # cleaned: it goes by itself
    page.wait_for_selector("#fault", state="hidden")
    assert page.wrong == []
