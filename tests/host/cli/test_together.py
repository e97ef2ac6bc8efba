"""Recorder, page and emulated board side by side, with processes that do as they are told."""

import json
import os
import signal
import subprocess

import pytest

from host.cli.child import Child
from host.cli.recorder_keeper import EmulatedBoard, RecorderKeeper
from host.cli.supervisor import Together
from host.errors import BadInputError, NotNowError
from host.recorder.supervision import RunRequest


class FakeProcess:
    stdin = None

    def __init__(self, stubborn=False):
        self.code = None
        self.signals = []
        self.stubborn = stubborn

    def poll(self):
        return self.code

    def send_signal(self, sig):
        self.signals.append(sig)
        if not self.stubborn:
            self.code = 0

    def wait(self, timeout=None):
        if self.code is None:
            raise subprocess.TimeoutExpired("fake", timeout)
        return self.code

    def kill(self):
        self.signals.append(signal.SIGKILL)
        self.code = -9


REQUEST = RunRequest("/dev/board", "rig.toml", notes={"area": "lawn"})


class Trio:
    """Three children, a clock, and what was said."""

    def __init__(self, folder, board=False, first=REQUEST):
        self.now = 0.0
        self.plugged = True
        self.report = folder / "report.json"
        self.started = {"recorder": [], "page": [], "board": []}
        self.said = []
        emulated = EmulatedBoard(self.child("board"), "/dev/board", lambda: self.plugged) if board else None
        self.recorder = RecorderKeeper(
            lambda arguments: self.child("recorder", arguments),
            self.report,
            emulated,
            say=self.said.append,
            exits=first is not None,
        )
        self.together = Together(self.recorder, self.child("page"), first, say=self.said.append)
        self.together.begin()
        self.look()

    def child(self, name, arguments=()):
        return Child(name, [name, *arguments], self.start, lambda: self.now)

    def start(self, arguments):
        process = FakeProcess()
        process.arguments = arguments[1:]
        self.started[arguments[0]].append(process)
        return process

    def look(self):
        return self.together.look()

    def ends(self, name, code):
        self.started[name][-1].code = code

    def tells(self, **said):
        self.report.write_text(json.dumps(said))
        self.look()

    @property
    def status(self):
        return self.together.answer({"ask": "status"})


@pytest.fixture
def trio(tmp_path):
    return Trio(tmp_path)


def test_all_well(trio):
    assert trio.look() is None
    assert trio.said == []
    assert trio.status["state"] == "starting"
    trio.tells(run="/runs/a.sward")
    assert (trio.status["state"], trio.status["run"]) == ("recording", "/runs/a.sward")


def test_a_page_that_falls_over_is_started_again_and_the_recorder_left_alone(trio):
    trio.now = 60.0
    trio.ends("page", -9)
    assert trio.look() is None
    assert len(trio.started["page"]) == 2
    assert len(trio.started["recorder"]) == 1
    assert trio.started["recorder"][0].signals == []


def test_a_page_that_never_starts_is_given_up_and_the_recording_goes_on(trio):
    for _ in range(10):
        trio.ends("page", 1)
        assert trio.look() is None
    assert len(trio.started["page"]) == 5
    assert len([line for line in trio.said if "page does not start" in line]) == 1
    assert trio.started["recorder"][0].code is None


def test_a_mistake_on_the_command_line_ends_it_with_its_exit_code(trio):
    trio.ends("recorder", 2)
    assert trio.look() == 2


def test_a_mistake_on_the_page_is_told_there_and_the_pages_stay(tmp_path):
    trio = Trio(tmp_path, first=None)
    assert trio.status["state"] == "idle"
    assert trio.together.answer(REQUEST.to_json()) == {"number": 1}
    trio.look()
    trio.report.write_text(json.dumps({"error": "there is no port /dev/board"}))
    trio.ends("recorder", 2)
    assert trio.look() is None
    assert (trio.status["state"], trio.status["reason"]) == ("failed", "there is no port /dev/board")
    trio.together.answer(REQUEST.to_json())  # and a second try is possible
    trio.look()
    trio.tells(run="/runs/a.sward")
    known = {"state": "recording", "run": "/runs/a.sward", "reason": "", "notice": "", "number": 2}
    assert trio.status == known | {"pid": os.getpid()}


def test_one_run_at_a_time(trio):
    with pytest.raises(NotNowError):
        trio.together.answer(REQUEST.to_json())
    trio.tells(run="/runs/a.sward")
    with pytest.raises(NotNowError):
        trio.together.answer(REQUEST.to_json())
    trio.ends("recorder", 0)
    trio.look()
    assert trio.together.answer(REQUEST.to_json()) == {"number": 2}


def test_what_is_asked_for_becomes_arguments_and_no_command(tmp_path):
    trio = Trio(tmp_path, first=None)
    notes = {"--report": "x", "area": "--runs=/etc"}
    trio.together.answer({"ask": "start", "port": "--help", "rig": "r.toml", "tank": "5 gal", "notes": notes})
    trio.look()
    assert trio.started["recorder"][0].arguments == [
        "--rig=r.toml",
        "--tank=5 gal",
        "--note=--report=x",
        "--note=area=--runs=/etc",
        "--port=--help",
    ]


@pytest.mark.parametrize("asked", [{}, {"port": 5, "rig": "r"}, {"port": "p", "rig": "r", "notes": {"a": 1}}])
def test_a_request_that_is_none_is_refused(trio, asked):
    with pytest.raises(BadInputError):
        trio.together.answer({"ask": "start", **asked})


def test_a_killed_recorder_is_started_again_and_the_page_is_told(trio):
    trio.tells(run="/runs/a.sward")
    trio.now = 100.0
    trio.ends("recorder", -9)
    assert trio.look() is None
    assert len(trio.started["recorder"]) == 2
    assert "new run file" in trio.said[0]
    trio.tells(run="/runs/b.sward")
    assert trio.status["run"] == "/runs/b.sward"
    assert "started again" in trio.status["notice"]


def test_a_recorder_that_keeps_falling_over_is_no_recording(trio):
    codes = []
    for _ in range(5):
        trio.ends("recorder", -11)
        codes.append(trio.look())
    assert codes[-1] == 1
    assert trio.status["state"] == "failed"


def test_a_recorder_that_keeps_falling_over_during_a_day_leaves_the_pages(trio):
    trio.tells(run="/runs/a.sward")
    for _ in range(5):
        trio.ends("recorder", -11)
        assert trio.look() is None
    assert "nothing is being recorded" in trio.status["notice"]


def test_a_run_that_was_stopped_leaves_the_page_up(trio):
    trio.ends("recorder", 0)
    assert trio.look() is None
    assert trio.look() is None
    assert len(trio.started["recorder"]) == 1
    assert trio.started["page"][0].signals == []


def test_an_emulated_board_is_started_anew_for_each_run(tmp_path):
    trio = Trio(tmp_path, board=True)
    trio.tells(run="/runs/a.sward")
    trio.ends("board", 0)
    assert trio.look() is None
    assert trio.started["recorder"][0].signals == [signal.SIGINT]
    trio.look()
    assert trio.status["state"] == "ended"
    trio.plugged = False
    trio.together.answer(REQUEST.to_json())
    trio.look()
    assert (len(trio.started["board"]), len(trio.started["recorder"])) == (2, 1)  # not before its port is there
    trio.plugged = True
    trio.look()
    assert len(trio.started["recorder"]) == 2


def test_stopping_ends_the_recorder_first_and_patiently(tmp_path):
    trio = Trio(tmp_path, board=True)
    trio.together.stop()
    assert trio.started["recorder"][0].signals == [signal.SIGINT]
    assert trio.started["page"][0].signals == [signal.SIGTERM]
    assert trio.started["board"][0].signals == [signal.SIGTERM]


def test_another_one_may_take_the_port_over(trio):
    assert trio.together.answer({"ask": "stop"}) == {"done": True}
    assert trio.look() == 0
    assert trio.said == ["Another Swardflow takes over: this one ends."]


def test_what_does_not_end_is_ended(trio):
    trio.started["page"][0].stubborn = True
    trio.together.stop()
    assert trio.started["page"][0].signals == [signal.SIGTERM, signal.SIGKILL]


def test_from_the_second_start_on_other_arguments_may_hold():
    started = []

    def start(arguments):
        started.append(arguments)
        return FakeProcess()

    page = Child("page", ["page", "--open"], start, lambda: 0.0, later=["page"])
    page.begin()
    assert page.again()
    assert page.again()
    assert started == [["page", "--open"], ["page"], ["page"]]
