"""The recorder on a pseudo-terminal: what the board sent is in the file, whatever happens meanwhile."""

from __future__ import annotations

import shutil
import statistics
import threading
import time
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import numpy as np
import pytest

from host.errors import UserError
from host.journal import RunReader, read_run
from host.link import LineRead, Link
from host.recorder import Outcome, Recorder, RunPlan, ask, follow, is_alarm
from host.recorder.pauses import PauseWatch
from tests.host.link.boards import AnsweringBoard, PtyEnd, report
from tests.host.recorder.feeding import LimitedFiles, Recording, ReportingBoard, WatchedFiles, until

RIG = 'name = "Harrow Lea four-nozzle"\n'


@pytest.fixture
def plan(tmp_path: Path) -> RunPlan:
    return RunPlan(tmp_path / "runs", "Lower green", RIG, {"area": "Lower green", "operator": "Ann Example"})


def quick_link(address: str, items: SimpleQueue[Any]) -> Link:
    return Link(address, retry_s=0.02, items=items)


def test_a_run_from_start_to_end(end: PtyEnd, plan: RunPlan) -> None:
    began = time.monotonic()
    with ReportingBoard(end) as board:
        recording = Recording(Recorder(end.address, plan))
        until(lambda: recording.recorder.status()["lines"] > 25)
        ask(recording.path, {"ask": "event", "kind": "refill", "text": "tank full"})
        ask(recording.path, {"ask": "note", "key": "weather", "value": "calm"})
        with pytest.raises(UserError, match='note "tank left" is "abc"'):
            ask(recording.path, {"ask": "note", "key": "tank left", "value": "abc"})
        board.stop()
    recording.stop()
    run = read_run(recording.path)
    assert run.complete and run.wire_damage <= 1 and run.rig_toml == RIG and run.header["port"] == end.address
    assert run.header["board"]["name"] == "bench"
    assert run.trailer is not None and run.trailer["reason"] == "end of the test"
    seqs = run.frames["seq"].tolist()
    assert seqs == list(range(seqs[0], max(board.sent) + 1))
    assert {one.detail["key"]: one.detail["value"] for one in run.notes} == {
        "area": "Lower green",
        "operator": "Ann Example",
        "weather": "calm",
    }
    kinds = [one.kind for one in run.events if one.kind not in ("note", "identity")]
    assert kinds == ["header", "rig", "run_start", "refill", "run_end", "trailer"]
    ended_s = run.events[-2].host_s
    assert 0 <= ended_s - run.frames["host_s"][-1] < time.monotonic() - began, (
        "it ended after its last line, before now"
    )
    assert recording.path.name.endswith("-lower-green.sward")
    assert isinstance(recording.outcome, Outcome) and recording.outcome.rest is None
    with pytest.raises(UserError, match="no recorder is running"):
        ask(recording.path, {"ask": "status"})


def test_a_computer_that_slept_is_told_when_it_woke(end: PtyEnd, plan: RunPlan) -> None:
    slept = threading.Event()
    began = time.monotonic()
    with ReportingBoard(end):
        recording = Recording(Recorder(end.address, plan, pauses=PauseWatch(lambda: 30.0 * slept.is_set())))
        slept.set()
        until(lambda: b"computer_paused" in recording.path.read_bytes())
        recording.stop()
    (paused,) = [one for one in read_run(recording.path).events if one.kind == "computer_paused"]
    assert paused.detail == {"seconds": 30.0}
    assert 0 <= paused.host_s <= time.monotonic() - began


def test_a_board_of_another_protocol_is_recorded(end: PtyEnd, plan: RunPlan) -> None:
    """Its lines cannot be read yet; a later version of the program may."""
    with ReportingBoard(end, protocol="2.0"):
        recording = Recording(Recorder(end.address, plan))
        until(lambda: recording.recorder.status()["link"] == "wrong protocol")
        recording.stop()
    run = read_run(recording.path)
    assert run.header["board"]["protocol"] == "2.0" and run.complete


def test_host_times_are_when_the_lines_came(end: PtyEnd, plan: RunPlan) -> None:
    with ReportingBoard(end, 0.05) as board:
        recording = Recording(Recorder(end.address, plan))
        until(lambda: recording.recorder.status()["lines"] > 20)
        asked = time.monotonic()
        run_s = recording.recorder.status()["run_s"]
        answered = time.monotonic()
        board.stop()
    recording.stop()
    frames = read_run(recording.path).frames
    sent = np.array([board.sent[int(seq)] for seq in frames["seq"]])
    late = frames["host_s"] - sent
    assert np.ptp(late - np.median(late)) < 0.5 and np.median(np.abs(late - np.median(late))) < 0.01
    # The run began between these two; a line is written down neither before it was sent nor long after.
    earliest, latest = asked - run_s, answered - run_s
    assert np.min(late + latest) > -0.02 and np.min(late + earliest) < 0.25


def test_unplugged_and_plugged_in_again_keeps_the_counts(end: PtyEnd, plan: RunPlan) -> None:
    """A board that kept its power counts on; what it counted meanwhile is in its next report."""
    with ReportingBoard(end) as board:
        recording = Recording(Recorder(end.address, plan, quick_link))
        until(lambda: recording.recorder.status()["lines"] > 10)
        board.stop()
    end.unplug()
    until(lambda: recording.recorder.status()["link"] == "lost")
    end.plug()
    with ReportingBoard(end, first=5_000):
        until(lambda: recording.recorder.status()["link"] == "ok")
    recording.stop()
    run = read_run(recording.path)
    kinds = [one.kind for one in run.events]
    assert kinds.count("link_lost") == kinds.count("link_back") == 1 and "board_start" not in kinds
    last = int(run.frames["seq"][-1])
    assert last >= 5_000 and int(run.frames["flow_count"][-1]) == last * 3
    assert run.complete


def test_stopping_drains_a_backlog_far_above_what_is_taken_at_once(end: PtyEnd, plan: RunPlan) -> None:
    backlog = [report(seq)[:-1] for seq in range(50_000)]

    def loaded(address: str, items: SimpleQueue[Any]) -> Link:
        link = quick_link(address, items)
        for raw in backlog:
            items.put(LineRead(time.monotonic() + 1, raw))
        return link

    with AnsweringBoard(end):
        recorder = Recorder(end.address, plan, loaded)
        path = recorder.start(10)
        recorder.stop("at once")
        outcome = recorder.run()
    run = read_run(path)
    assert run.complete and len(run.frames) == 50_000 and outcome.rest is None
    assert (run.frames["seq"] == np.arange(50_000) % 65_536).all()


def test_a_full_disk_alarms_keeps_showing_and_goes_on(end: PtyEnd, plan: RunPlan) -> None:
    files = LimitedFiles(room=6_000)
    with ReportingBoard(end) as board:
        recording = Recording(Recorder(end.address, plan, files=files))
        until(lambda: recording.recorder.status()["state"] == "disk full")
        with follow(recording.path) as follower:
            reader, seqs = RunReader(), []
            in_file = recording.path.stat().st_size
            for _ in range(10):
                wanted = max(board.sent)
                until(lambda: take(follower.poll(), reader, seqs) and seqs[-1] >= wanted)  # noqa: B023
            assert recording.path.stat().st_size == in_file == 6_000, "all of this was shown from the recorder's memory"
            assert is_alarm(follower.status()) and follower.status()["bytes_waiting"] > 0
            files.room = None
            until(lambda: follower.status()["state"] == "recording")
            wanted = max(board.sent)
            until(lambda: take(follower.poll(), reader, seqs) and seqs[-1] >= wanted)
            board.stop()
            recording.stop()
            while data := follower.poll():
                take(data, reader, seqs)
            assert follower.status() == {"state": "not running"}
    run = read_run(recording.path)
    kinds = [one.kind for one in run.events]
    assert run.complete and kinds.count("disk_full") == kinds.count("disk_back") == 1
    assert run.frames["seq"].tolist() == seqs == list(range(seqs[0], max(board.sent) + 1))


def take(data: bytes, reader: RunReader, seqs: list[int]) -> bool:
    seqs += reader.push(data).frames["seq"].tolist()
    return bool(seqs)


def test_a_disk_still_full_at_the_end_keeps_the_rest_elsewhere(end: PtyEnd, plan: RunPlan, tmp_path: Path) -> None:
    shelter = tmp_path / "shelter"
    shelter.mkdir()
    with ReportingBoard(end) as board:
        recorder = Recorder(end.address, plan, files=LimitedFiles(6_000), shelters=(tmp_path / "none", shelter))
        recording = Recording(recorder)
        until(lambda: recording.recorder.status()["state"] == "disk full")
        board.stop()
    recording.stop()
    assert isinstance(recording.outcome, Outcome) and recording.outcome.rest is not None
    assert recording.outcome.rest.parent == shelter
    with recording.path.open("ab") as file:
        file.write(recording.outcome.rest.read_bytes())
    run = read_run(recording.path)
    assert run.complete and int(run.frames["seq"][-1]) == max(board.sent)


def test_a_run_whose_folder_is_gone_for_good_is_kept_elsewhere_whole(
    end: PtyEnd, plan: RunPlan, tmp_path: Path
) -> None:
    """In the place of the folder lies a file, so that none can be made there."""
    shelter = tmp_path / "shelter"
    shelter.mkdir()
    with ReportingBoard(end) as board:
        recording = Recording(Recorder(end.address, plan, shelters=(shelter,)))
        until(lambda: recording.recorder.status()["lines"] > 25)
        shutil.rmtree(plan.folder)
        plan.folder.write_bytes(b"")
        until(lambda: recording.recorder.status()["state"] == "disk error")
        sent = max(board.sent)
        until(lambda: max(board.sent) > sent + 20)
        board.stop()
    recording.stop()
    outcome = recording.outcome
    assert isinstance(outcome, Outcome) and outcome.rest is None and outcome.in_place
    assert outcome.run == shelter / recording.path.name and str(outcome.run) in outcome.rescued[-1]
    run = read_run(outcome.run)
    assert run.complete and run.frames["seq"].tolist() == list(range(int(run.frames["seq"][0]), max(board.sent) + 1))


def test_a_slow_medium_delays_neither_reading_nor_writing(end: PtyEnd, plan: RunPlan) -> None:
    files = WatchedFiles()
    files.hold = threading.Event()
    with ReportingBoard(end) as board:
        recording = Recording(Recorder(end.address, plan, files=files))
        until(lambda: recording.recorder.status()["lines"] > 100)
        frames = RunReader().push(recording.path.read_bytes()).frames
        assert len(frames) > 80 and files.synced == []
        board.stop()
        files.hold.set()
    recording.stop()
    assert read_run(recording.path).complete


def test_a_power_cut_costs_less_than_a_second(end: PtyEnd, plan: RunPlan) -> None:
    """Every byte was brought to the medium within a second of being written."""
    files = WatchedFiles()
    with ReportingBoard(end):
        recording = Recording(Recorder(end.address, plan, files=files))
        until(lambda: recording.recorder.status()["run_s"] > 3.0)
    recording.stop()
    delays = [next(moment for moment, safe in files.synced if safe >= reach) - when for when, reach in files.written]
    assert len(files.synced) < 12 and max(delays) < 1.0, f"longest {max(delays):.3f} s"


def test_from_the_line_to_the_file_takes_milliseconds(end: PtyEnd, plan: RunPlan) -> None:
    delays = []
    with AnsweringBoard(end):
        recording = Recording(Recorder(end.address, plan))
    until(lambda: RunReader().push(recording.path.read_bytes()).records.get("E") == 1)
    for seq in range(60):
        size = recording.path.stat().st_size
        sent = time.perf_counter()
        end.send(report(seq))
        while recording.path.stat().st_size < size + 105:
            assert time.perf_counter() - sent < 5.0
        delays.append(time.perf_counter() - sent)
        time.sleep(0.005)
    recording.stop()
    median, late = statistics.median(delays) * 1e3, sorted(delays)[56] * 1e3
    print(f"line to file: median {median:.2f} ms, 95 % {late:.2f} ms")
    assert median < 10.0


def test_no_board_leaves_no_run_behind(end: PtyEnd, plan: RunPlan) -> None:
    with pytest.raises(UserError, match="no board is heard"):
        Recorder(end.address, plan).start(0.1)
    assert list(plan.folder.iterdir()) == []
    with ReportingBoard(end):
        recording = Recording(Recorder(end.address, plan))  # the port is free again
    recording.stop()


def test_two_runs_of_one_minute_have_two_files(end: PtyEnd, plan: RunPlan) -> None:
    paths = []
    for first in (0, 1_000):
        with ReportingBoard(end, first=first):
            recording = Recording(Recorder(end.address, plan))
            recording.stop()
            paths.append(recording.path)
    assert paths[0] != paths[1] and all(read_run(path).complete for path in paths)


@pytest.mark.parametrize(
    ("request_", "words"),
    [
        ({"ask": "event", "kind": "run_end"}, "choose refill or mark"),
        ({"ask": "event", "kind": "refill", "added_m3": -0.01}, "added_m3 must be a volume"),
        ({"ask": "event", "kind": "refill", "added_m3": 1e3}, "added_m3 must be a volume"),
        ({"ask": "event", "kind": "refill", "to_m3": "much"}, "to_m3 must be a volume"),
        ({"ask": "output", "buzzer": "loud"}, "buzzer must be a whole number"),
        ({"ask": "dance"}, "knows no request 'dance'"),
        ({}, "knows no request None"),
    ],
)
def test_requests_that_make_no_sense_get_a_sentence(
    end: PtyEnd, plan: RunPlan, request_: dict[str, Any], words: str
) -> None:
    with ReportingBoard(end):
        recording = Recording(Recorder(end.address, plan))
        with pytest.raises(UserError, match=words):
            ask(recording.path, request_)
        assert ask(recording.path, {"ask": "status"})["state"] == "recording"
        assert ask(recording.path, {"ask": "stop", "reason": "enough"}) == {"done": True}
        recording.wait()
    trailer = read_run(recording.path).trailer
    assert trailer is not None and (trailer["status"], trailer["reason"]) == ("complete", "enough")


def test_a_recorder_that_falls_over_says_so_in_the_file(end: PtyEnd, plan: RunPlan) -> None:
    with ReportingBoard(end):
        recorder = Recorder(end.address, plan)
        path = recorder.start(10)
        recorder._inbox.put(object())  # type: ignore[arg-type]  # nothing that can happen; stands for what nobody foresaw
        with pytest.raises(AttributeError):
            recorder.run()
    trailer = read_run(path).trailer
    assert trailer is not None and trailer["status"] == "failed" and "AttributeError" in trailer["reason"]
