"""A recording played out of a pseudo-terminal is a port like any other: the same lines come out."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from host.journal import records
from host.link import LineRead, Link
from host.recorder import Recorder, RunPlan
from tests.host.journal.samples import write_run
from tests.host.recorder.feeding import Recording, until


def raw_lines(path: Path) -> list[bytes]:
    read = [records.parse(line) for line in path.read_bytes().splitlines()]
    return [records.raw_line(record.payload) for record in read if record.tag == records.RAW]


def replay(run: Path, link: Path) -> subprocess.Popen[str]:
    arguments = ["host.cli.main", "replay", str(run), "--speed", "max", "--link", str(link)]
    process = subprocess.Popen([sys.executable, "-m", *arguments], stdout=subprocess.DEVNULL, text=True)
    until(link.exists)
    return process


def test_a_replayed_run_reads_as_it_was_recorded(tmp_path: Path) -> None:
    run, port = tmp_path / "a.sward", tmp_path / "port"
    write_run(run, 2_000)
    player = replay(run, port)
    link = Link(str(port))
    link.start()
    until(lambda: link.lines >= 2_002)
    assert link.identity is not None and link.wire_damage == 1
    link.stop()
    player.wait(60)
    lines = []
    while (item := link.items.get(timeout=60)) is not None:
        lines += [item.raw] if isinstance(item, LineRead) else []
    assert lines == raw_lines(run)


def test_a_replayed_run_can_be_recorded_again(tmp_path: Path) -> None:
    run, port = tmp_path / "a.sward", tmp_path / "port"
    write_run(run, 2_000)
    player = replay(run, port)
    recording = Recording(Recorder(str(port), RunPlan(tmp_path / "runs", "again", "")))
    until(lambda: recording.recorder.status()["lines"] >= 2_002)
    recording.stop()
    player.wait(60)
    assert raw_lines(recording.path) == raw_lines(run)
