"""The rig file asks for 50 ms: what the recorder does about it, and what stands in the run file."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import numpy as np

from firmware_protocol.messages import Refusal
from host.journal import RunFile, read_run
from host.pipeline import Pipeline
from host.recorder import Recorder, RunPlan
from host.review.board_said import interval_message_of_run
from host.rig import Rig, rig_from_toml
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource
from host.simulate.serve import Server, serve
from host.simulate.terminal import PseudoTerminal
from tests.host.link.boards import PtyEnd, report
from tests.host.link.test_interval import AskedBoard
from tests.host.recorder.feeding import Recording, until


def asking(scenario: str = "demo", asked: str = "50 ms") -> Rig:
    return rig_from_toml(f'report_interval = "{asked}"\n{load_scenario(scenario).rig.toml}')


def recorded(folder: Path, seconds: float) -> tuple[RunFile, list[str], Rig]:
    """The emulated board over a pseudo-terminal at its own pace, recorded; the run, and what was said of the board."""
    rig, port = asking(), folder / "board"
    server = Server(ScenarioSource(load_scenario("demo")), lambda: PseudoTerminal(port), time.monotonic, 1.0)
    threading.Thread(target=serve, args=(server, time.sleep), daemon=True).start()
    until(port.exists)
    recording = Recording(Recorder(str(port), RunPlan(folder / "runs", rig.name, rig.toml, rig=rig)))
    time.sleep(seconds)
    notices = recording.recorder.status()["notices"]
    recording.stop()
    return read_run(recording.path), notices, rig


def test_the_emulated_board_goes_over_to_50_ms_within_its_first_reports_and_nothing_is_missing(tmp_path: Path) -> None:
    run, notices, rig = recorded(tmp_path, 4.0)
    assert notices == []
    steps_ms = np.diff(run.frames["clock"].astype(np.int64)) / 1000.0
    early = steps_ms > 75.0
    assert early.sum() <= 10 and not early[early.sum() + 1 :].any()
    assert np.abs(steps_ms[-30:] - 50.0).max() < 3.0
    assert (np.diff(run.frames["seq"].astype(int)) == 1).all()
    said = [event.detail["interval_ms"] for event in run.events if event.kind == "identity"]
    assert said[0] == 100 and said[-1] == 50
    assert interval_message_of_run(run) == ""
    pipeline = Pipeline(rig)
    signals = pipeline.push(run.frames, run.events)
    assert signals.lost_frames[-1] == 0 and not pipeline.faults() and not pipeline.unassigned


def test_a_board_that_refuses_is_said_once_and_the_run_goes_on(end: PtyEnd, tmp_path: Path) -> None:
    rig = asking()
    with AskedBoard(end, lambda command: Refusal(command.tag, 0x02)) as board:
        recorder = Recorder(end.address, RunPlan(tmp_path / "runs", rig.name, rig.toml, rig=rig))
        feeder = threading.Thread(target=lambda: [end.send(report(seq)) or time.sleep(0.05) for seq in range(20)])
        feeder.start()
        recording = Recording(recorder)
        until(lambda: any("every 50 ms" in notice for notice in recorder.status()["notices"]))
        (notice,) = (notice for notice in recorder.status()["notices"] if "every 50 ms" in notice)
        assert "the board refuses, and reports every 100 ms" in notice
        feeder.join()
        assert len(board.asked) == 1
    recording.stop()
    assert len(read_run(recording.path).frames) >= 19


def test_a_rig_file_without_the_key_asks_for_nothing(end: PtyEnd, tmp_path: Path) -> None:
    rig = load_scenario("demo").rig
    assert rig.report_interval_ms is None
    with AskedBoard(end) as board:
        recorder = Recorder(end.address, RunPlan(tmp_path / "runs", rig.name, rig.toml, rig=rig))
        feeder = threading.Thread(target=lambda: [end.send(report(seq)) or time.sleep(0.05) for seq in range(20)])
        feeder.start()
        recording = Recording(recorder)
        feeder.join()
        assert not board.asked
    recording.stop()
