"""The recorder as a process of its own: killed at any moment, told to end, given mistakes."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import time
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest

from host.journal import RunFile, read_run
from host.recorder import ask
from tests.host.link.boards import PtyEnd, report
from tests.host.recorder.feeding import ReportingBoard, until
from tests.host.recorder.processes import RIG, run_path, start_recorder, swardflow

INTERVAL_S = 0.02  # fifty lines a second: five times the board's own pace


def kill_some(folder: Path, seed: int, at_once: int) -> list[float]:
    """Kill `at_once` recorders, each at a random moment, and return how many seconds of the lines that each had taken
    its file lacks. What a busy computer leaves on the line is no matter of the recorder's."""
    moments = random.Random(seed)
    lost = []
    with ExitStack() as stack:
        ends, boards = [], []
        for number in range(at_once):
            place = folder / f"{seed}-{number}"
            place.mkdir()
            ends.append(PtyEnd(place))
            stack.callback(ends[-1].close)
            boards.append(stack.enter_context(ReportingBoard(ends[-1], INTERVAL_S)))
        recorders = [start_recorder(end.address, folder / f"runs-{seed}-{n}") for n, end in enumerate(ends)]
        paths = [run_path(recorder) for recorder in recorders]
        ready = time.monotonic()
        kills = sorted((moments.uniform(0.0, 0.8), number) for number in range(at_once))
        for delay, number in kills:
            time.sleep(max(ready + delay - time.monotonic(), 0.0))
            recorders[number].kill()
        for recorder in recorders:
            recorder.communicate()
        for end, board, path in zip(ends, boards, paths, strict=True):
            board.stop()
            taken = len(board.sent) - end.unread(report(len(board.sent) - 1)).count(b"\n")
            before = sum(moment < ready for moment in board.sent.values())
            lost.append(INTERVAL_S * check_killed(read_run(path), before, taken))
    return lost


def check_killed(run: RunFile, before: int, taken: int) -> int:
    """Everything but a torn last record is sound and without a gap; of the first `taken` lines, how many are missing
    at the end. As many as `before` came before the recorder said that it was ready.
    """
    assert run.trailer is None and run.header and run.rig_toml == RIG.read_text()
    assert run.wire_damage <= 1, "only the first line may be damaged: the port was opened while it was under way"
    assert run.damaged == 0 or (run.damaged == 1 and run.damage[0].reason.endswith("the file ends here"))
    seqs = run.frames["seq"].tolist()
    if not seqs:  # killed before the first line
        return max(taken - before, 0)
    assert seqs == list(range(seqs[0], seqs[0] + len(seqs)))
    return taken - 1 - int(seqs[-1])


@pytest.mark.parametrize("rounds", [1, pytest.param(4, marks=pytest.mark.journey)])
def test_killed_at_random_moments(tmp_path: Path, rounds: int) -> None:
    """Five times, and twenty."""
    lost = [one for seed in range(rounds) for one in kill_some(tmp_path, seed, 5)]
    print(f"{len(lost)} kills, longest stretch missing {max(lost):.3f} s")
    assert len(lost) == 5 * rounds and max(lost) < 1.0


@pytest.mark.soak
@pytest.mark.timeout(1800)
def test_killed_five_hundred_times_at_random_moments(tmp_path: Path) -> None:
    lost = [one for seed in range(100, 200) for one in kill_some(tmp_path, seed, 5)]
    print(f"{len(lost)} kills, longest stretch missing {max(lost):.3f} s")
    assert len(lost) == 500 and max(lost) < 1.0


@pytest.mark.parametrize(
    ("number", "reason"),
    [
        (signal.SIGINT, "stopped from the keyboard"),
        (signal.SIGTERM, "told to end by the system"),
        (signal.SIGHUP, "the terminal was closed"),
    ],
)
def test_a_signal_ends_the_run_in_good_order(end: PtyEnd, tmp_path: Path, number: int, reason: str) -> None:
    with ReportingBoard(end, INTERVAL_S) as board:
        recorder = start_recorder(end.address, tmp_path / "runs")
        path = run_path(recorder)
        first = max(board.sent)
        until(lambda: max(board.sent) > first + 20)
        os.kill(recorder.pid, number)
        output, errors = recorder.communicate(timeout=60)
    assert recorder.returncode == 0, errors
    run = read_run(path)
    assert run.complete and run.trailer is not None and run.trailer["reason"] == reason
    assert f"recorded {path}: {run.records['L']} lines" in output and errors == ""


def test_a_second_recorder_on_the_port_gets_one_sentence(end: PtyEnd, tmp_path: Path) -> None:
    with ReportingBoard(end, INTERVAL_S):
        first = start_recorder(end.address, tmp_path / "runs")
        path = run_path(first)
        second = start_recorder(end.address, tmp_path / "runs")
        output, errors = second.communicate(timeout=60)
        assert second.returncode == 2 and output == ""
        assert errors.count("\n") == 1 and f"port {end.address} is in use: process {first.pid} records {path}" in errors
        first.terminate()
        first.communicate(timeout=60)
    run = read_run(path)
    assert run.complete and len(list((tmp_path / "runs").iterdir())) == 1
    assert run.wire_damage <= 1 and set(np.diff(run.frames["seq"].astype(int)).tolist()) == {1}, "the first goes on"


def tell(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(swardflow("tell", *arguments), capture_output=True, text=True, timeout=60, check=False)


def test_telling_a_running_recorder(end: PtyEnd, tmp_path: Path) -> None:
    runs = tmp_path / "runs"
    with ReportingBoard(end, INTERVAL_S):
        recorder = start_recorder(end.address, runs)
        path = run_path(recorder)
        assert tell(path, "refill").returncode == 0
        assert tell(path, "refill", "5", "L").returncode == 0
        half = tell(path, "refill", "half")
        assert half.returncode == 2 and half.stderr.count("\n") == 1
        slip = tell(path, "refill", "500", "L")  # for 50
        assert slip.returncode == 2 and "more than the tank holds" in slip.stderr
        assert tell("latest", "--runs", runs, "mark", "gate").returncode == 0
        assert tell(path.name, "--runs", runs, "note", "weather=calm").returncode == 0
        status = json.loads(tell(path, "status").stdout)
        assert (status["state"], status["link"], status["run"]) == ("recording", "ok", str(path))
        for tap in ("alarm_seen", "alarm_muted", "alarm_unmuted"):
            assert ask(path, {"ask": "event", "kind": tap}) == {"done": True}
        wrong = tell(path, "note", "calm")
        assert wrong.returncode == 2 and "write it as KEY=TEXT" in wrong.stderr
        assert tell(path, "stop").returncode == 0
        recorder.communicate(timeout=60)
    run = read_run(path)
    told = [(one.kind, one.detail.get("text")) for one in run.events if one.kind in ("refill", "mark")]
    assert [kind for kind, _ in told] == ["refill", "refill", "mark"] and told[-1] == ("mark", "gate")
    assert [one.detail.get("added_m3") for one in run.events if one.kind == "refill"] == [None, 0.005]
    taps = [one.kind for one in run.events if one.kind.startswith("alarm")]
    assert taps == ["alarm_seen", "alarm_muted", "alarm_unmuted"]
    assert [one.detail for one in run.notes][-1] == {"key": "weather", "value": "calm"}
    assert run.complete and run.trailer is not None and run.trailer["reason"] == "told to stop"
    late = tell(path, "mark")
    assert late.returncode == 2 and late.stderr.count("\n") == 1 and "no recorder is running" in late.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--port", "/dev/ttyNOWHERE9", "--rig", RIG], "there is no port /dev/ttyNOWHERE9"),
        (["--port", "/dev/null", "--rig", "none.toml"], "rig file none.toml does not exist"),
        (["--port", "/dev/null", "--rig", RIG, "--note", "Lower green"], "write it as KEY=TEXT"),
        (["--port", "/dev/null", "--rig", RIG, "--runs", "/dev/null/runs"], "choose another"),
    ],
)
def test_mistakes_get_one_sentence(arguments: list[str | Path], words: str, tmp_path: Path) -> None:
    done = subprocess.run(
        swardflow("record", "--runs", tmp_path / "runs", *arguments),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2 and words in done.stderr and done.stderr.count("\n") == 1 and done.stdout == ""
    assert not list(tmp_path.glob("runs/*.sward"))


def test_what_is_in_the_tank_at_the_start_is_recorded(end: PtyEnd, tmp_path: Path) -> None:
    with ReportingBoard(end, INTERVAL_S):
        arguments = ["--port", end.address, "--rig", RIG, "--runs", tmp_path / "runs", "--tank", "12 L"]
        recorder = subprocess.Popen(swardflow("record", *arguments), stdout=subprocess.PIPE, text=True)
        path = run_path(recorder)
        recorder.terminate()
        recorder.communicate(timeout=60)
    started = [one for one in read_run(path).events if one.kind == "run_start"]
    assert [one.detail["tank_m3"] for one in started] == [0.012]


def test_a_second_recorder_may_take_over(end: PtyEnd, tmp_path: Path) -> None:
    with ReportingBoard(end, INTERVAL_S):
        first = start_recorder(end.address, tmp_path / "runs")
        path = run_path(first)
        second = start_recorder(end.address, tmp_path / "runs", "--take-over")
        assert run_path(second) != path
        first.communicate(timeout=60)
        assert first.returncode == 0 and read_run(path).trailer["reason"] == "another recording took over"
        second.send_signal(signal.SIGINT)
        second.communicate(timeout=60)
