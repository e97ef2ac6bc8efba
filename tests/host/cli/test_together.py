"""Recorder, page and emulated board side by side, with processes that do as they are told."""

import signal
import subprocess

import pytest

from host.cli.supervisor import Child, Together


class FakeProcess:
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


class Trio:
    """Three children, a clock, and what was said."""

    def __init__(self, board=False):
        self.now = 0.0
        self.started = {"recorder": [], "page": [], "board": []}
        self.said = []
        children = {name: Child(name, [name], self.start, lambda: self.now) for name in self.started}
        self.together = Together(
            children["recorder"], children["page"], children["board"] if board else None, say=self.said.append
        )
        for name in ("recorder", "page", *(["board"] if board else [])):
            children[name].begin()

    def start(self, arguments):
        process = FakeProcess()
        self.started[arguments[0]].append(process)
        return process

    def ends(self, name, code):
        self.started[name][-1].code = code


@pytest.fixture
def trio():
    return Trio()


def test_all_well(trio):
    assert trio.together.look() is None
    assert trio.said == []


def test_a_page_that_falls_over_is_started_again_and_the_recorder_left_alone(trio):
    trio.now = 60.0
    trio.ends("page", -9)
    assert trio.together.look() is None
    assert len(trio.started["page"]) == 2
    assert len(trio.started["recorder"]) == 1
    assert trio.started["recorder"][0].signals == []


def test_a_page_that_never_starts_is_given_up_and_the_recording_goes_on(trio):
    for _ in range(10):
        trio.ends("page", 1)
        assert trio.together.look() is None
    assert len(trio.started["page"]) == 5
    assert len([line for line in trio.said if "page does not start" in line]) == 1
    assert trio.started["recorder"][0].code is None


def test_a_mistake_of_the_users_ends_it_with_its_exit_code(trio):
    trio.ends("recorder", 2)
    assert trio.together.look() == 2


def test_a_killed_recorder_is_started_again(trio):
    trio.now = 100.0
    trio.ends("recorder", -9)
    assert trio.together.look() is None
    assert len(trio.started["recorder"]) == 2
    assert "new run file" in trio.said[0]


def test_a_recorder_that_keeps_falling_over_is_no_recording(trio):
    codes = []
    for _ in range(5):
        trio.ends("recorder", -11)
        codes.append(trio.together.look())
    assert codes[-1] == 1


def test_a_run_that_was_stopped_leaves_the_page_up(trio):
    trio.ends("recorder", 0)
    assert trio.together.look() is None
    assert trio.together.look() is None
    assert len(trio.started["recorder"]) == 1
    assert trio.started["page"][0].signals == []


def test_the_end_of_the_emulated_run_ends_the_recording_in_good_order():
    trio = Trio(board=True)
    trio.ends("board", 0)
    assert trio.together.look() is None
    assert trio.started["recorder"][0].signals == [signal.SIGINT]


def test_stopping_ends_the_recorder_first_and_patiently():
    trio = Trio(board=True)
    trio.together.stop()
    assert trio.started["recorder"][0].signals == [signal.SIGINT]
    assert trio.started["page"][0].signals == [signal.SIGTERM]
    assert trio.started["board"][0].signals == [signal.SIGTERM]


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
