"""Recorder, page and emulated board side by side, with processes that do as they are told."""

import signal
import subprocess

import pytest

from host.cli.together import Child, Together


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


class Yard:
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
def yard():
    return Yard()


def test_all_well(yard):
    assert yard.together.look() is None
    assert yard.said == []


def test_a_page_that_falls_over_is_started_again_and_the_recorder_left_alone(yard):
    yard.now = 60.0
    yard.ends("page", -9)
    assert yard.together.look() is None
    assert len(yard.started["page"]) == 2
    assert len(yard.started["recorder"]) == 1
    assert yard.started["recorder"][0].signals == []


def test_a_page_that_never_starts_is_given_up_and_the_recording_goes_on(yard):
    for _ in range(10):
        yard.ends("page", 1)
        assert yard.together.look() is None
    assert len(yard.started["page"]) == 5
    assert len([line for line in yard.said if "page does not start" in line]) == 1
    assert yard.started["recorder"][0].code is None


def test_a_mistake_of_the_users_ends_it_with_its_exit_code(yard):
    yard.ends("recorder", 2)
    assert yard.together.look() == 2


def test_a_killed_recorder_is_started_again(yard):
    yard.now = 100.0
    yard.ends("recorder", -9)
    assert yard.together.look() is None
    assert len(yard.started["recorder"]) == 2
    assert "new run file" in yard.said[0]


def test_a_recorder_that_keeps_falling_over_is_no_recording(yard):
    codes = []
    for _ in range(5):
        yard.ends("recorder", -11)
        codes.append(yard.together.look())
    assert codes[-1] == 1


def test_a_run_that_was_stopped_leaves_the_page_up(yard):
    yard.ends("recorder", 0)
    assert yard.together.look() is None
    assert yard.together.look() is None
    assert len(yard.started["recorder"]) == 1
    assert yard.started["page"][0].signals == []


def test_the_end_of_the_emulated_run_ends_the_recording_in_good_order():
    yard = Yard(board=True)
    yard.ends("board", 0)
    assert yard.together.look() is None
    assert yard.started["recorder"][0].signals == [signal.SIGINT]


def test_stopping_ends_the_recorder_first_and_patiently():
    yard = Yard(board=True)
    yard.together.stop()
    assert yard.started["recorder"][0].signals == [signal.SIGINT]
    assert yard.started["page"][0].signals == [signal.SIGTERM]
    assert yard.started["board"][0].signals == [signal.SIGTERM]


def test_what_does_not_end_is_ended(yard):
    yard.started["page"][0].stubborn = True
    yard.together.stop()
    assert yard.started["page"][0].signals == [signal.SIGTERM, signal.SIGKILL]
