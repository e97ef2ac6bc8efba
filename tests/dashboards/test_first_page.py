"""Where the bare address leads, also in the first second of the server."""

from __future__ import annotations

from typing import Any

from dashboards.live.broadcaster import Broadcaster
from dashboards.live.recorder_client import RecorderState
from dashboards.live.run_follower import LiveFollower
from dashboards.web.first_page import FirstPage
from tests.dashboards.asked import Clock, everything, told
from tests.dashboards.writing import GrowingRun

FIRST = {"type": "http", "method": "GET", "path": "/", "headers": []}


def where(page: FirstPage) -> str:
    start: Any = told(page, dict(FIRST))[0]
    assert start["status"] == 303
    return str(dict(start["headers"])[b"location"].decode())


def test_who_comes_in_the_first_second_waits_until_it_is_known_whether_a_run_is_live() -> None:
    looks = iter([False, False, True])
    state = {"live": False}

    def known() -> bool:
        state["live"] = next(looks)
        return state["live"]

    assert where(FirstPage(everything, lambda: state["live"], known)) == "/live"


def test_nobody_waits_for_ever() -> None:
    assert where(FirstPage(everything, lambda: False, lambda: False, patience_s=0.0)) == "/home"


class Recorder:
    """The recorder's side, as far as it is known."""

    def __init__(self, code: str) -> None:
        self.code = code

    def open_source(self, run: Any) -> Any:
        from host.journal.follow import FileFollower

        return FileFollower(run)

    def watch(self, run: Any) -> None:
        pass

    def state(self) -> RecorderState:
        return RecorderState(self.code)


def test_it_is_known_once_the_folder_was_looked_at_and_the_recorder_asked(runs: Any, growing: GrowingRun) -> None:
    growing.stop()
    clock, recorder = Clock(), Recorder("unknown")
    follower = LiveFollower(runs, None, Broadcaster(), recorder, clock=clock, wall=lambda: 4e9)
    assert not follower.is_known()
    follower.step()
    assert not follower.is_live() and not follower.is_known(), "a file that may have been left behind long ago"
    recorder.code = "silent"
    assert follower.is_known() and not follower.is_live()
    recorder.code = "on"
    assert follower.is_known() and follower.is_live()
    follower.stop()


def test_an_empty_folder_is_known_at_once(runs: Any) -> None:
    follower = LiveFollower(runs, None, Broadcaster(), Recorder("none"), clock=Clock())
    follower.step()
    assert follower.is_known() and not follower.is_live()
