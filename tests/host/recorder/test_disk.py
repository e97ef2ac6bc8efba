"""The recorder as a process of its own on disks that fill up, are locked, or lose their power."""

from __future__ import annotations

import os
import random
from itertools import count
from pathlib import Path

import pytest

from host.journal import read_run
from host.recorder import ask
from tests.host.link.boards import PtyEnd
from tests.host.recorder.feeding import ReportingBoard, until
from tests.host.recorder.processes import run_path, start_recorder

RECORDING = next((Path(__file__).parents[3] / "recordings").glob("*.sward"))
TAIL = 4_096  # bytes: what a power cut can reach is half a second and the time the medium needs


@pytest.mark.parametrize("times", [1, pytest.param(20, marks=pytest.mark.soak)])
def test_a_disk_that_fills_up_and_gets_room_again(end: PtyEnd, disk: Path, times: int) -> None:
    """A foreign file takes all that is left, comes and goes."""
    ballast, draw = disk / "ballast", random.Random(64)
    with ReportingBoard(end) as board:
        recorder = start_recorder(end.address, disk)
        path = run_path(recorder)
        for _ in range(times):
            free = os.statvfs(disk)
            ballast.write_bytes(bytes(free.f_bavail * free.f_bsize))  # what is left, to the last block
            until(lambda: ask(path, {"ask": "status"})["state"] == "disk full")
            sent = max(board.sent) + draw.randrange(1, 40)
            until(lambda sent=sent: max(board.sent) > sent)
            assert ask(path, {"ask": "status"})["bytes_waiting"] > 0
            ballast.unlink()
            until(lambda: ask(path, {"ask": "status"})["state"] == "recording")
        board.stop()
        recorder.terminate()
        _, errors = recorder.communicate(timeout=60)
    assert recorder.returncode == 0, errors
    run = read_run(path)
    kinds = [one.kind for one in run.events]
    assert run.complete and kinds.count("disk_full") == kinds.count("disk_back") == times
    seqs = run.frames["seq"].tolist()
    assert seqs == list(range(seqs[0], max(board.sent) + 1))
    print(f"{times} times full and freed, {len(seqs)} frames in a row, none lost")


def test_a_locked_folder_gets_one_sentence_before_anything_is_lost(end: PtyEnd, read_only_disk: Path) -> None:
    for runs in (read_only_disk, read_only_disk / "made" / "here"):
        with ReportingBoard(end):
            recorder = start_recorder(end.address, runs)
            output, errors = recorder.communicate(timeout=60)
        assert recorder.returncode == 2 and output == ""
        assert errors.count("\n") == 1 and "Read-only file system" in errors and "choose another" in errors


@pytest.mark.soak
@pytest.mark.timeout(1800)
def test_a_power_cut_at_every_byte_of_the_tail(tmp_path: Path) -> None:
    data, path = RECORDING.read_bytes(), tmp_path / "cut.sward"
    whole = read_run(RECORDING)
    path.write_bytes(data)
    for cut in count(1):
        length = len(data) - cut
        if cut > TAIL:
            break
        os.truncate(path, length)
        run = read_run(path)
        left, torn = data[:length].count(b"\n"), data[length - 1 : length] != b"\n"
        at_line_feed = data[length : length + 1] == b"\n"
        assert sum(run.records.values()) == left + at_line_feed, f"every whole record of the first {length} bytes"
        assert run.damaged == (torn and not at_line_feed)
        assert (run.frames == whole.frames[: len(run.frames)]).all()
    print(f"cut at each of the last {TAIL} bytes of {len(data)}: every whole record read")
