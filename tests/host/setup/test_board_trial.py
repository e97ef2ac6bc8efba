"""A bring-up beside a page: live figures in the rig's units, questions answered late, steps skipped, nobody there."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from host.errors import NotNowError
from host.rig import rig_from_toml
from host.setup.board_trial import BoardTrial, TrialView
from tests.dashboards.processes import wait_until
from tests.firmware_protocol.board_tools import Core, build, missing_for_core
from tests.host.bringup.bench_boards import CorePort
from tests.host.bringup.test_wiring_mistakes import RIG, Sprayer

pytestmark = pytest.mark.skipif(bool(missing_for_core()), reason=missing_for_core() or "can be built")


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build("core", tmp_path_factory.mktemp("core")) / "libcore.so"


class Screen:
    """A trial of the firmware's core at the pace of its own clock, with a sprayer whose hands do what is asked."""

    def __init__(self, library: Path) -> None:
        core = Core(library)
        core.start()
        self.port = CorePort(core)
        self.sprayer = Sprayer(self.port)
        self.kept: list[str] = []
        self.views: list[TrialView] = []
        self.skips = ""
        self.looks = True
        rig = rig_from_toml(RIG.replace("[tank]", "spray_switch = true\n[tank]"))
        self.trial = BoardTrial("the bench", rig, lambda _: self.port, self.port.clock, self.kept.append)
        moved = self.port.before_step

        def step(now_us: int) -> None:
            if self.looks and now_us % 100_000 == 0:
                self._look()
            moved(now_us)

        self.port.before_step = step

    def _look(self) -> None:
        view = self.trial.view()
        self.views.append(view)
        if view.message != self.sprayer.asked:
            self.sprayer.say(view.message)
        if self.skips and view.message.startswith(self.skips):
            self.trial.skip(view.message)

    def run(self, answers: dict[str, bool]) -> TrialView:
        """To its end; `answers` by the beginning of the question."""
        self.trial.start()

        def over() -> TrialView | None:
            view = self.trial.view()
            for begins, yes in answers.items():
                if view.question.startswith(begins):
                    self.trial.answer(view.question, yes)
            return view if view.over else None

        return wait_until(over, "the trial is over", 60.0)  # type: ignore[no-any-return]


@pytest.fixture
def screen(library: Path) -> Iterator[Screen]:
    screen = Screen(library)
    yield screen
    screen.trial.stop(5.0)
    assert screen.port.closed


def test_a_good_board_is_found_good_and_kept(screen: Screen) -> None:
    view = screen.run({"Did the": True})
    assert view.document is not None
    assert view.document.answer == "The board is good."
    assert json.loads(screen.kept[0])["answer"] == "The board is good."
    asked = {reading.name for seen in screen.views for reading in seen.readings if reading.asked}
    assert asked == {"Flow meter", "Pressure", "Wheel sensor", "Spray switch"}
    speeds = [reading.more for seen in screen.views for reading in seen.readings if reading.name == "Wheel sensor"]
    # One of eight magnets on 4 ft each quarter of a second: 2 ft/s, and 88 ft/min is 1 mph.
    assert any(f"{2 * 60 / 88:.2f} mph" in words for words in speeds), set(speeds)
    pressures = {reading.value for seen in screen.views for reading in seen.readings if reading.name == "Pressure"}
    # 102 and 140 counts of 1023 over 10 to 90 % for 0 to 100 psi; a mean over the moment of pressing lies between.
    highest = max(float(text.removesuffix(" psi")) for text in pressures)
    assert 1.0 < highest <= (140 / 1023 - 0.1) / 0.8 * 100 + 0.05


def test_two_wires_swapped_are_named_and_a_step_can_be_tried_again(screen: Screen) -> None:
    screen.sprayer.wires |= {"flow": "wheel", "wheel": "flow"}
    tries = []

    def mended(now_us: int, before=screen.port.before_step) -> None:
        if len(tries) == 1:
            screen.sprayer.wires |= {"flow": "flow", "wheel": "wheel"}
        before(now_us)

    screen.port.before_step = mended
    screen.trial.start()
    view = wait_until(lambda: (v := screen.trial.view()).question and v, "a question", 60.0)
    assert "input of the wheel sensor answered instead: are the two wires swapped?" in view.question
    assert view.buttons == ("Try again", "Go on")
    tries.append(1)
    screen.trial.answer("an older question", False)  # of a screen that slept
    screen.sprayer.asked = ""  # it is asked the same once more
    screen.trial.answer(view.question, True)
    view = wait_until(lambda: (v := screen.trial.view()).question.startswith("Did the buzzer") and v, "the buzzer", 60)
    assert {str(f.grade) for f in view.findings if f.what in ("flow meter", "wheel sensor")} == {"good"}


def test_a_skipped_step_is_no_fault_and_not_called_good(screen: Screen) -> None:
    screen.skips = "Put a little pressure"
    view = screen.run({"Did the": True})
    (found,) = [finding for finding in view.findings if finding.what == "pressure transducer"]
    assert (str(found.grade), found.seen) == ("note", "skipped, so it is not known whether it works")
    assert {str(f.grade) for f in view.findings if f.what == "wheel sensor"} == {"good"}


def test_a_trial_that_nobody_looks_at_gives_the_port_back(screen: Screen) -> None:
    screen.looks = False
    screen.trial.start()
    wait_until(lambda: screen.port.closed, "the port is given back", 30.0)
    assert "Stopped before the end" in screen.trial.view().error
    assert screen.kept == []


def test_stopped_at_once_and_a_port_in_use(library: Path) -> None:
    def busy(address: str) -> CorePort:
        raise NotNowError(f"port {address} is in use by another program")

    kept: list[str] = []
    trial = BoardTrial("x", rig_from_toml(RIG), busy, lambda: 0.0, kept.append)
    trial.start()
    view = wait_until(lambda: (v := trial.view()).over and v, "the end", 10.0)
    assert view.error == "Port x is in use by another program."
    screen = Screen(library)
    screen.trial.start()
    wait_until(lambda: screen.trial.view().message, "a message", 10.0)
    screen.trial.stop(10.0)
    assert screen.port.closed or screen.trial.view().document


def test_a_board_that_is_lost_is_told(screen: Screen) -> None:
    def lost(now_us: int, before=screen.port.before_step) -> None:
        if now_us > 12_000_000:
            raise OSError
        before(now_us)

    screen.port.before_step = lost
    assert "was lost: plug it in again" in screen.run({}).error
