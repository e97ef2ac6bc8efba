"""What the follower publishes, step by step, on a clock of the test's own."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

import numpy as np
import pytest

from dashboards.live.broadcaster import Broadcaster
from dashboards.live.recorder_client import RecorderClient, RecorderState, state_from
from dashboards.live.run_follower import BEHIND, LiveFollower
from dashboards.live.screen import screen_row
from host.calibrate.cards import make_card
from host.errors import NoAnswerError, NotNowError, UserError
from host.journal import FileFollower, JournalWriter, read_run
from host.journal.follow import POLL_BYTES
from host.pipeline import Pipeline, live_row
from host.rig import load_rig
from tests.dashboards.walking import RIG, Walk
from tests.dashboards.writing import begin


class Side:
    """A recorder's side that only has the file."""

    most = POLL_BYTES  # at once

    def __init__(self) -> None:
        self.now = RecorderState("on", link="ok")
        self.watched: list[Path | None] = []

    def open_source(self, run: Path) -> FileFollower:
        return FileFollower(run, most=self.most)

    def watch(self, run: Path | None) -> None:
        self.watched.append(run)

    def state(self) -> RecorderState:
        return self.now


class Following:
    def __init__(self, folder: Path, run: Path | None = None) -> None:
        self.now = 1000.0
        self.wall = 5000.0
        self.newest = Broadcaster(lambda: self.now, boot="b")
        self.side = Side()
        self.follower = LiveFollower(
            folder, run, self.newest, self.side, clock=lambda: self.now, wall=lambda: self.wall
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.follower.stop()

    def step(self, seconds: float = 0.1) -> dict[str, Any]:
        self.now += seconds
        self.follower.step()
        message: dict[str, Any] = json.loads(self.newest.message(with_trace=True))
        return message


class Writers:
    """Run files in the making; those that the test has not ended are closed after it."""

    def __init__(self) -> None:
        self._open: list[JournalWriter] = []

    def begin(self, path: Path, rig_toml: str | None = None) -> JournalWriter:
        self._open.append(begin(path, rig_toml))
        return self._open[-1]

    def end(self, writer: JournalWriter) -> None:
        self._open.remove(writer)
        writer.close("complete", "test", 0, 1000.0)

    def end_all(self) -> None:
        for writer in self._open[:]:
            self.end(writer)


@pytest.fixture
def runs() -> Iterator[Writers]:
    writers = Writers()
    yield writers
    writers.end_all()


@pytest.fixture
def follow() -> Iterator[Callable[..., Following]]:
    """Makes followers and lets go of their files at the end."""
    with ExitStack() as stack:
        yield lambda folder, run=None: stack.enter_context(Following(folder, run))


Follow = Callable[..., Following]


def add(writer: JournalWriter, walk: Walk, lines: int) -> None:
    for _ in range(lines):
        writer.raw_line(walk.report(), walk.time_s)
    writer.flush()


def test_an_empty_folder_is_told_in_a_sentence(tmp_path: Path, follow: Follow) -> None:
    message = follow(tmp_path).step()
    assert message["age_ms"] is None
    assert message["row"]["notice"].startswith("No run yet")
    assert message["row"]["advice"] == "none"


def test_before_the_first_report_there_are_dashes(tmp_path: Path, runs: Writers, follow: Follow) -> None:
    runs.begin(tmp_path / "a.sward")
    message = follow(tmp_path).step()
    assert (message["row"]["rate"], message["row"]["link"], message["age_ms"]) == ("–", "waiting", None)


def test_the_row_is_the_pipelines_own(tmp_path: Path, runs: Writers, follow: Follow) -> None:
    path, walk = tmp_path / "a.sward", Walk(pace_mph=2.0)
    writer = runs.begin(path)
    following = follow(tmp_path)
    following.step()
    for lines in (1, 3, 40, 57):
        add(writer, walk, lines)
        message = following.step()
    run, rig = read_run(path), load_rig(RIG)
    pipeline = Pipeline(rig)
    signals = pipeline.push(run.frames, run.events)
    wanted = screen_row(live_row(pipeline, signals) | {"frame": 101, "tank_low_m3": rig.tank.warn_m3}, "us")
    assert {key: message["row"][key] for key in wanted} == wanted
    # 136.36 × gpm of one nozzle / (mph × spacing in inches), turf bulletins, from memory: 1.19 gal/1000 ft² at 2 mph
    assert float(message["row"]["rate"]) == pytest.approx(136.36 * 0.35 / (2.0 * 20), rel=0.01)
    assert message["row"]["words"] == "Walk faster"
    assert message["age_ms"] == 0
    places = [place for _, place in message["trace"] if place is not None]
    assert np.median(places) == pytest.approx(1.9, abs=0.1)  # 19 % over, in a band of 10 %


def test_nothing_new_is_not_published_again(tmp_path: Path, runs: Writers, follow: Follow) -> None:
    writer, walk = runs.begin(tmp_path / "a.sward"), Walk()
    add(writer, walk, 20)
    following = follow(tmp_path)
    first = following.step()
    later = following.step(0.5)
    assert later["seq"] == first["seq"]
    following.side.now = RecorderState("full", "The disk is full.")
    changed = following.step(0.5)
    assert changed["seq"] == first["seq"] + 1
    assert (changed["row"]["recording"], changed["row"]["notice"]) == ("full", "The disk is full.")
    assert changed["age_ms"] == later["age_ms"] + 500  # a change of state makes no number fresh


def test_what_was_there_before_is_as_old_as_the_file(tmp_path: Path, runs: Writers, follow: Follow) -> None:
    path = tmp_path / "a.sward"
    add(runs.begin(path), Walk(), 20)
    following = follow(tmp_path)
    os.utime(path, (following.wall - 30, following.wall - 30))
    assert following.step()["age_ms"] == pytest.approx(30_000, abs=10)


def test_catching_up_shows_nothing_that_is_past(tmp_path: Path, runs: Writers, follow: Follow) -> None:
    """A page that is started in the middle of a long run must not show its beginning as if it were now."""
    walk = Walk()
    add(runs.begin(tmp_path / "a.sward"), walk, 5 * BEHIND // 2 // 105)  # two times as much, and a half
    following = follow(tmp_path)
    following.side.most = BEHIND
    seen = [following.step()["row"].get("frame") for _ in range(4)]
    assert walk.seq in seen
    assert set(seen) <= {None, walk.seq}


def test_a_new_run_is_taken_up_when_the_old_one_has_ended(tmp_path: Path, runs: Writers, follow: Follow) -> None:
    old, new = tmp_path / "a.sward", tmp_path / "b.sward"
    writer, walk = runs.begin(old), Walk()
    add(writer, walk, 30)
    following = follow(tmp_path)
    assert following.step()["row"]["run"] == "a"
    runs.begin(new)
    os.utime(new, (old.stat().st_mtime + 5,) * 2)
    add(writer, walk, 1)
    assert following.step(1.1)["row"]["run"] == "a", "a run that is being written is not left"
    runs.end(writer)
    following.step()
    message = following.step(1.1)
    assert message["row"]["run"] == "b"
    assert message["age_ms"] is None
    assert message["trace"] == []
    assert following.side.watched == [old, new]


def test_a_fixed_run_stays_after_its_end(tmp_path: Path, runs: Writers, follow: Follow) -> None:
    old = tmp_path / "a.sward"
    writer = runs.begin(old)
    add(writer, Walk(), 30)
    runs.end(writer)
    runs.begin(tmp_path / "b.sward")
    following = follow(tmp_path, old)
    following.step()
    row = following.step(5.0)["row"]
    assert (row["run"], row["recording"], row["link"]) == ("a", "ended", "ended")


def test_a_file_that_is_no_run_is_told_not_thrown(tmp_path: Path, follow: Follow) -> None:
    path = tmp_path / "a.sward"
    path.write_bytes(b"\x00\xff not a run\n" * 100)
    assert follow(tmp_path).step()["row"]["frame"] == -1


def test_a_rig_that_cannot_be_read_is_named(tmp_path: Path, runs: Writers, follow: Follow) -> None:
    add(runs.begin(tmp_path / "a.sward", 'name = "x"\nunits = "furlongs"\n'), Walk(), 5)
    assert "rig in run a" in follow(tmp_path).step()["row"]["notice"]


class TestRecorderClient:
    """The recorder's side, with a recorder that answers as the test says."""

    def door(self, answers: list[Any]) -> tuple[RecorderClient, list[Any]]:
        asked: list[Any] = []
        self.now = 0.0

        def ask(run: Path, request: dict[str, Any]) -> dict[str, Any]:
            asked.append(request)
            answer = answers.pop(0)
            if isinstance(answer, Exception):
                raise answer
            return dict(answer)

        door = RecorderClient(ask, lambda: self.now)
        door.watch(Path("a.sward"))
        return door, asked

    @pytest.mark.parametrize(
        ("state", "code"),
        [("recording", "on"), ("disk full", "full"), ("disk error", "trouble"), ("stopping", "ended"), ("?", "silent")],
    )
    def test_states(self, state: str, code: str) -> None:
        door, _ = self.door([{"state": state, "link": "ok"}])
        assert door.state().code == "unknown"
        door.look()
        assert door.state().code == code

    def test_a_recorder_that_stops_answering_is_silent_after_two_seconds(self) -> None:
        door, _ = self.door([{"state": "recording"}, NoAnswerError("gone"), NoAnswerError("gone")])
        door.look()
        self.now = 1.9
        door.look()
        assert door.state().code == "on"
        self.now = 2.1
        door.look()
        assert door.state().code == "silent"

    def test_a_recorder_that_refuses_to_say_how_it_is_says_why(self) -> None:
        door, _ = self.door([UserError("the recorder knows no request 'status'")])
        door.look()
        assert door.state() == RecorderState("unknown", "the recorder knows no request 'status'")

    def test_a_recorder_that_cannot_be_asked_is_not_called_silent(self) -> None:
        door, _ = self.door([{"state": "recording"}, *3 * [NotNowError("too many open files")]])
        for self.now in (0.0, 1.0, 2.0, 3.0):
            door.look()
        assert door.state() == RecorderState("unknown", "too many open files")

    def test_a_port_that_is_there_again_and_cannot_be_opened_is_explained(self) -> None:
        door, _ = self.door([{"state": "recording", "link": "lost", "link_trouble": "port X is in use"}])
        door.look()
        assert door.state() == RecorderState("on", "port X is in use", "lost")

    def test_refills(self) -> None:
        door, asked = self.door([{}, {}, {}])
        assert door.tell("refill", {"full": True}) == "Refill recorded: tank full."
        assert door.tell("refill", {"added": "5 gal"}) == "Refill recorded: 5.00 gal added."
        assert door.tell("refill", {"added": "20 L"}) == "Refill recorded: 20.0 L added."
        assert [one.get("added_m3") for one in asked] == [None, pytest.approx(5 * 231 * 0.0254**3), pytest.approx(0.02)]

    @pytest.mark.parametrize(
        "added", ["5", "", "five gal", "-5 gal", "0 L", "5 psi", "1e9 L", "nan L", None, 5, ["5 gal"]]
    )
    def test_a_wrong_amount_is_refused_and_nothing_is_told(self, added: Any) -> None:
        door, asked = self.door([{}])
        with pytest.raises(UserError, match="amount added"):
            door.tell("refill", {"added": added})
        assert asked == []

    def test_a_refusal_of_the_recorder_reaches_the_person(self) -> None:
        door, _ = self.door([NotNowError("the recording is ending and takes no more")])
        with pytest.raises(NotNowError, match=r"Not done: the recording is ending"):
            door.tell("mark", {})

    def test_no_other_buttons(self) -> None:
        door, asked = self.door([{}])
        with pytest.raises(UserError):
            door.tell("erase", {})
        assert asked == []


def test_a_card_that_is_new_since_the_last_run_is_told_until_the_first_pass_is_over(
    tmp_path: Path, runs: Writers, follow: Follow
) -> None:
    walk = Walk()
    before = begin(tmp_path / "before.sward")
    add(before, walk, 5)
    before.close("complete", "test", 0, 1.0)
    os.utime(tmp_path / "before.sward", (4000, 4000))
    section = {"factor": "451.6 pulses/gal", "uncertainty": "0.6 %"}
    made = datetime(2026, 5, 14, 9, 0, tzinfo=UTC)
    card = make_card("meter", load_rig(RIG).name, made, section, {"result": "451.6 pulses/gal, good to ±1.2 %"})
    writer = begin(tmp_path / "now.sward", cards=[card])
    walk = Walk()
    add(writer, walk, 30)
    following = follow(tmp_path, tmp_path / "now.sward")
    new = "New since the last run: flow meter, 14 May 09:00, 451.6 pulses/gal, good to ±1.2 %."
    assert new in following.step()["row"]["notice"]
    walk.spraying = False
    add(writer, walk, 200)
    assert new not in following.step(5.0)["row"]["notice"]
    writer.close("complete", "test", 0, 30.0)


def test_a_run_whose_file_was_lost_is_followed_into_the_file_that_it_was_saved_in(
    tmp_path: Path, runs: Writers, follow: Follow
) -> None:
    """Live and the link "See this run" go with it, and the page says what happened."""
    old, walk = tmp_path / "a.sward", Walk()
    writer = runs.begin(old)
    add(writer, walk, 30)
    following = follow(tmp_path)
    assert following.step()["row"]["run"] == "a"
    old.unlink()
    writer.look_at_file()
    add(writer, walk, 2)
    status = {"state": "recording", "link": "ok", "run": str(writer.path), "rescued": writer.rescued}
    following.side.now = state_from(status)
    row = following.step(1.1)["row"]
    assert (row["run"], row["run_link"], row["frame"]) == ("a-rescued", "/run?name=a-rescued", walk.seq)
    assert row["aside"] == (
        "The run file a.sward was lost: it was deleted or moved away; the run was saved again, as a-rescued."
    )
    assert row["notice"] == ""
    assert following.side.watched == [old, writer.path]


def test_a_run_that_was_named_is_followed_there_too(tmp_path: Path, runs: Writers, follow: Follow) -> None:
    old, walk = tmp_path / "a.sward", Walk()
    writer = runs.begin(old)
    add(writer, walk, 30)
    runs.begin(tmp_path / "b.sward")
    following = follow(tmp_path, old)
    following.step()
    old.write_bytes(b"")
    writer.look_at_file()
    add(writer, walk, 1)
    following.side.now = state_from({"state": "recording", "run": str(writer.path), "rescued": writer.rescued})
    assert following.step(1.1)["row"]["run"] == "a-rescued"
    following.side.now = RecorderState("silent")
    assert following.step(10.0)["row"]["run"] == "a-rescued", "it stays, although a newer run is there"
