"""A recorder, as a process of its own, on a sick line."""

from __future__ import annotations

import signal
import time
from pathlib import Path

import pytest

from firmware_protocol.messages import LineError, decode
from firmware_protocol.splitter import LineSplitter
from host.journal import read_run
from host.journal.records import RAW, RecordError, parse, raw_line
from tests.firmware_protocol.storm import Storm, candidates, may_pass
from tests.host.link.boards import PtyEnd
from tests.host.recorder.feeding import ReportingBoard, until
from tests.host.recorder.processes import run_path, start_recorder
from tests.soak.gauges import own_memory_kb

PIECES = 64  # of a storm between two looks at the recorder's memory
GROWTH_KB = 4_000


def raw_lines(run: Path) -> list[bytes]:
    """The lines as they came, from a run file."""
    lines = []
    for record in run.read_bytes().splitlines():
        try:
            parsed = parse(record)
        except RecordError:
            pytest.fail(f"a record that is none: {record[:80]!r}")
        if parsed.tag == RAW:
            lines.append(raw_line(parsed.payload))
    return lines


def sound(line: bytes) -> bool:
    try:
        return decode(line) is not None
    except LineError:
        return False


@pytest.mark.parametrize("size", [400_000, pytest.param(10_000_000, marks=pytest.mark.soak)])
def test_a_storm_is_recorded_to_the_last_byte(end: PtyEnd, tmp_path: Path, size: int) -> None:
    with ReportingBoard(end):
        recorder = start_recorder(end.address, tmp_path / "runs")
        path = run_path(recorder)
    began, memory = time.monotonic(), []
    storm, stream = Storm(75, size), bytearray()
    for number, piece in enumerate(storm):
        end.send(piece)
        stream += piece
        if number % PIECES == 0:
            memory.append(own_memory_kb(recorder.pid))
    took = time.monotonic() - began
    until(lambda: raw_lines_end(path, storm.sent[-1]))
    memory.append(own_memory_kb(recorder.pid))
    recorder.send_signal(signal.SIGINT)
    _, errors = recorder.communicate(timeout=60)
    assert recorder.returncode == 0 and errors == ""
    splitter = LineSplitter()
    lines = splitter.push(bytes(stream)) + splitter.flush()
    written = raw_lines(path)
    assert written[-len(lines) :] == lines, "every byte of the storm is in the file, in order"
    run, known = read_run(path), set(storm.sent)
    taken = [line for line in lines if sound(line)]
    wrong = [line for line in taken if line not in known]
    assert run.complete and len(wrong) <= may_pass(candidates(lines, storm.sent))
    assert [line for line in taken if line in known] == storm.sent
    print(
        f"{size} bytes in {took:.1f} s, memory {memory[0]} kB at first, {max(memory)} at most, {memory[-1]} at the end"
    )
    print(f"{len(wrong)} lines taken that were not sent")
    assert memory[-1] - memory[len(memory) // 10] < GROWTH_KB


def raw_lines_end(path: Path, line: bytes) -> bool:
    with path.open("rb") as file:
        file.seek(max(path.stat().st_size - 200_000, 0))
        return line in file.read()
