"""Replay: the raw lines of a run file again, byte for byte."""

from __future__ import annotations

import math
import threading
from pathlib import Path

import numpy as np
import pytest

from host.errors import UserError
from host.journal import JournalWriter, Snapshot, read_run
from host.simulate.replay import ReplaySource
from host.simulate.run_writer import write_run
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource, run_lines
from host.simulate.serve import SETTLE_S, Server, serve
from host.simulate.terminal import PseudoTerminal
from host.simulate.truth import truth
from tests.host.simulate.made import RIG, frames_of
from tests.host.simulate.test_serve import Clock, FakeTerminal, read_all

RAW = [b"R01 0000 half a li", b"\xff\x00\x80\\ \x1b[2J", b"I01 sound or not", b" ", b"~" * 256, b"\r"]


@pytest.fixture
def run_file(tmp_path: Path) -> Path:
    path = tmp_path / "bad-lines.sward"
    writer = JournalWriter(path, Snapshot({"port": "test"}, RIG))
    writer.event("run_start", 0.0)
    for number, line in enumerate(RAW):
        writer.raw_line(line, 5.0 + 1.5 * number)
        writer.note("text", "between", 5.0 + 1.5 * number)
    writer.close("complete", "test", len(RAW), 20.0)
    return path


def test_damaged_lines_come_out_byte_for_byte_at_their_times(run_file: Path) -> None:
    clock = Clock()
    terminal = FakeTerminal(clock)
    serve(Server(ReplaySource(run_file), lambda: terminal, clock, 2.0), clock.sleep)
    assert [data for _, data in terminal.sent] == [line + b"\n" for line in RAW]
    times = np.array([at for at, _ in terminal.sent]) - 100.0 - SETTLE_S
    assert times == pytest.approx(0.75 * np.arange(len(RAW)), abs=0.03)


def test_a_damaged_record_is_left_out_and_counted(run_file: Path) -> None:
    data = bytearray(run_file.read_bytes())
    data[data.index(b"I01 sound")] ^= 1
    run_file.write_bytes(data)
    source = ReplaySource(run_file)
    assert source.damaged == 1
    assert [line for _, line in source.due(math.inf)] == [line for line in RAW if not line.startswith(b"I01")]


def test_what_cannot_be_replayed_is_told(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="cannot be read"):
        ReplaySource(tmp_path / "absent.sward")
    (tmp_path / "empty.sward").write_text("nothing of a run\n", encoding="utf-8")
    with pytest.raises(UserError, match="no line"):
        ReplaySource(tmp_path / "empty.sward")


def test_a_recording_replayed_through_pyserial_is_the_recording(tmp_path: Path) -> None:
    """Pseudo-terminal, full speed, with the scenario's lost and damaged lines."""
    path = tmp_path / "run.sward"
    write_run(load_scenario("wrap-and-reset"), path)
    recorded = [line for _, line in ReplaySource(path).due(math.inf)]
    terminal = PseudoTerminal()
    received: list[bytes] = []
    reader = threading.Thread(target=read_all, args=(terminal.path, received))
    reader.start()
    clock = Clock()

    def give_way(wait_s: float) -> None:
        clock.sleep(wait_s)
        threading.Event().wait(0.001)  # the reader's turn

    serve(Server(ReplaySource(path), lambda: terminal, clock, math.inf), give_way)
    reader.join(30)
    assert not reader.is_alive()
    assert b"".join(received) == b"".join(line + b"\n" for line in recorded)


def test_a_run_written_straight_into_a_file_is_what_the_board_sends(tmp_path: Path) -> None:
    scenario = load_scenario("wrap-and-reset")
    source = write_run(scenario, tmp_path / "run.sward")
    run = read_run(tmp_path / "run.sward")
    sent = [line for lines in run_lines(ScenarioSource(scenario)) for line in lines]
    assert [line for _, line in ReplaySource(tmp_path / "run.sward").due(math.inf)] == [line for _, line in sent]
    assert run.complete
    assert run.rig_toml == scenario.rig.toml
    kinds = [event.kind for event in run.events]
    assert kinds.count("board_start") == 2
    assert kinds.index("link_lost") < kinds.index("link_back")
    assert run.wire_damage > 5
    frames, _ = frames_of(scenario, seed=scenario.seed)
    assert run.frames["host_s"] == pytest.approx(frames["host_s"], abs=0.01)  # a report may wait behind an identity
    assert run.frames["flow_count"].tolist() == frames["flow_count"].tolist()
    assert truth(source.sprayer)["simulated_s"] == pytest.approx(source.duration_s)
    with pytest.raises(UserError, match="exists"):
        write_run(scenario, tmp_path / "run.sward")
