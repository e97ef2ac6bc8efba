"""The writer on file systems that are sound, full, failing, or slow."""

from __future__ import annotations

import errno
import os
import threading
from pathlib import Path

import pytest

from host.errors import UserError
from host.journal import JournalWriter, RunReader, Snapshot, read_run
from host.journal.files import Files, SystemFiles
from tests.host.journal.file_systems import HandClock, MemoryFiles
from tests.host.journal.samples import RIG, joined, read_in_pieces, report_line

SNAPSHOT = Snapshot({"started": "2026-05-14T09:15:00+01:00"}, RIG)


class Place:
    """A file system under contract: where to write, and how to read back."""

    def __init__(self, files: Files, folder: Path) -> None:
        self.files, self.folder = files, folder

    def read(self, name: str) -> bytes:
        if isinstance(self.files, MemoryFiles):
            return bytes(self.files.content[self.folder / name])
        return (self.folder / name).read_bytes()


@pytest.fixture(params=["real", "memory"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Place:
    return Place(SystemFiles() if request.param == "real" else MemoryFiles(), tmp_path)


def test_a_record_is_in_the_file_when_flush_returns(place: Place) -> None:
    writer = JournalWriter(place.folder / "a.sward", SNAPSHOT, place.files)
    writer.raw_line(report_line(1), 0.1)
    assert writer.flush()
    assert len(RunReader().push(place.read("a.sward")).frames) == 1
    assert writer.bytes_written == len(place.read("a.sward")) and writer.bytes_waiting == 0
    writer.close("complete", "asked", 0, 0.2)


def test_closing_drains_a_backlog_of_any_size(place: Place) -> None:
    writer = JournalWriter(place.folder / "a.sward", SNAPSHOT, place.files)
    for number in range(20_000):
        writer.raw_line(report_line(number), number * 0.1)
    checkpoints = 33  # one a minute in 2,000 s
    assert 20_000 * 105 < writer.bytes_waiting < 20_000 * 105 + checkpoints * 150
    assert writer.close("complete", "asked", 0, 2_000.0) == b""
    batch = RunReader().push(place.read("a.sward"))
    assert batch.frames["seq"].tolist() == list(range(20_000))
    assert batch.events[-1].detail["records"] == {"H": 2, "G": 2, "L": 20_000, "K": checkpoints}


def test_an_existing_file_is_never_touched(place: Place) -> None:
    JournalWriter(place.folder / "a.sward", SNAPSHOT, place.files).close("complete", "asked", 0, 0.0)
    before = place.read("a.sward")
    with pytest.raises(FileExistsError):
        JournalWriter(place.folder / "a.sward", SNAPSHOT, place.files)
    assert place.read("a.sward") == before


def test_nonsense_is_refused_before_it_reaches_the_file(place: Place) -> None:
    writer = JournalWriter(place.folder / "a.sward", SNAPSHOT, place.files)
    with pytest.raises(ValueError, match="no such kind"):
        writer.event("party", 1.0)
    with pytest.raises(ValueError, match="0 s or more"):
        writer.raw_line(report_line(1), float("nan"))
    with pytest.raises(ValueError, match="at most"):
        writer.note("text", "x" * (1 << 20), 1.0)
    writer.close("complete", "asked", 0, 2.0)
    assert RunReader().push(place.read("a.sward")).records == {"H": 2, "G": 2, "Z": 1}


def test_a_folder_that_is_not_there_gets_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"cannot be made.*another folder"):
        JournalWriter(tmp_path / "none" / "a.sward", SNAPSHOT)


def _record_some(writer: JournalWriter, clock: HandClock, first: int, last: int) -> None:
    for number in range(first, last):
        clock.now += 0.1
        writer.raw_line(report_line(number), number * 0.1)
        writer.flush()


def _sound(path: Path, files: MemoryFiles, frames: int) -> None:
    """All frames once and in order, nothing damaged, the alarm kept in the run, the counts right."""
    batches = read_in_pieces(bytes(files.content[path]), [])
    batch = batches[0]
    assert joined(batches)[2] == []
    assert batch.frames["seq"].tolist() == list(range(frames))
    kinds = [one.kind for one in batch.events]
    assert kinds == ["header", "rig", "disk_full", "disk_back", "trailer"]
    assert batch.events[-1].detail["records"] == {"H": 2, "G": 2, "L": frames, "E": 2}


def test_a_disk_full_at_every_byte_loses_nothing_and_writes_nothing_twice() -> None:
    whole = MemoryFiles()
    path = Path("a.sward")
    writer = JournalWriter(path, SNAPSHOT, whole)
    _record_some(writer, HandClock(), 0, 8)
    size = len(whole.content[path])
    writer.close("complete", "asked", 0, 3.0)
    for room in range(size):
        files, clock = MemoryFiles(room), HandClock()
        writer = JournalWriter(path, SNAPSHOT, files, clock)
        _record_some(writer, clock, 0, 8)
        assert writer.state == "disk full" and writer.trouble == os.strerror(errno.ENOSPC)
        in_file = len(files.content[path])
        assert in_file == room == writer.bytes_written
        follower = bytes(files.content[path]) + writer.tail(in_file)
        assert len(RunReader().push(follower).frames) == 8, "whoever follows the run still sees all of it"
        files.room = None
        clock.now += 1.0
        _record_some(writer, clock, 8, 12)
        assert writer.state == "recording" and writer.trouble == "" and writer.bytes_waiting == 0
        assert files.content[path].startswith(follower)
        assert writer.close("complete", "asked", 0, 3.0) == b""
        _sound(path, files, 12)


def test_a_disk_that_gives_way_a_few_bytes_at_a_time() -> None:
    files, clock, path = MemoryFiles(300), HandClock(), Path("a.sward")
    writer = JournalWriter(path, SNAPSHOT, files, clock)
    for number in range(30):
        clock.now += 0.6
        files.room = (files.room or 0) + 57
        writer.raw_line(report_line(number), number * 0.1)
        writer.flush()
    assert writer.state == "disk full"
    files.room = None
    assert writer.close("complete", "asked", 0, 3.0) == b""
    _sound(path, files, 30)


def test_closing_on_a_full_disk_hands_back_what_is_missing() -> None:
    files, path = MemoryFiles(2_500), Path("a.sward")
    writer = JournalWriter(path, SNAPSHOT, files, HandClock())
    for number in range(30):
        writer.raw_line(report_line(number), number * 0.1)
    rest = writer.close("complete", "asked", 0, 3.0)
    batches = read_in_pieces(bytes(files.content[path]) + rest, [])
    assert len(files.content[path]) == 2_500 and files.closed == [0]
    assert batches[0].frames["seq"].tolist() == list(range(30)) and joined(batches)[2] == []
    assert [one.kind for one in batches[0].events][-2:] == ["disk_full", "trailer"]


def test_memory_has_an_end_and_what_is_dropped_is_counted() -> None:
    files, clock, path = MemoryFiles(0), HandClock(), Path("a.sward")
    writer = JournalWriter(path, SNAPSHOT, files, clock, pending_limit=10_000)
    _record_some(writer, clock, 0, 200)
    writer.event("refill", 19.5, text="")
    assert writer.bytes_waiting < 11_000
    files.room = None
    clock.now += 1.0
    _record_some(writer, clock, 200, 210)
    writer.close("complete", "asked", 0, 21.0)
    batches = read_in_pieces(bytes(files.content[path]), [])
    frames, kinds = batches[0].frames, [one.kind for one in batches[0].events]
    (lost,) = [one.detail for one in batches[0].events if one.kind == "lines_lost"]
    assert writer.lines_lost > 50 and lost["count"] == writer.lines_lost
    assert len(frames) + lost["count"] == 210 and frames["seq"][-1] == 209
    assert kinds.count("refill") == 1 and joined(batches)[2] == []


@pytest.mark.parametrize("code", [errno.EIO, errno.EROFS])
def test_any_other_failure_is_an_alarm_too(code: int) -> None:
    files, clock = MemoryFiles(5), HandClock()
    files.error = code
    writer = JournalWriter(Path("a.sward"), SNAPSHOT, files, clock)
    assert writer.state == "disk error" and writer.trouble == os.strerror(code)
    files.room = None
    clock.now += 1.0
    assert writer.flush() and writer.state == "recording"
    writer.close("complete", "asked", 0, 1.0)


def test_a_full_disk_is_tried_again_only_now_and_then() -> None:
    files, clock = MemoryFiles(0), HandClock()
    writer = JournalWriter(Path("a.sward"), SNAPSHOT, files, clock)
    files.room = None
    clock.now += 0.4
    assert not writer.flush()
    clock.now += 0.2
    assert writer.flush()
    writer.close("complete", "asked", 0, 1.0)


def test_a_slow_medium_holds_up_neither_writing_nor_followers() -> None:
    files, path = MemoryFiles(), Path("a.sward")
    files.holding = threading.Event()
    writer = JournalWriter(path, SNAPSHOT, files)
    assert files.sync_entered.wait(60)
    for number in range(500):
        writer.raw_line(report_line(number), number * 0.1)
        assert writer.flush()
    assert len(RunReader().push(bytes(files.content[path])).frames) == 500 and path not in files.synced
    files.holding.set()
    writer.close("complete", "asked", 0, 50.0)
    assert files.synced[path] == len(files.content[path]), "closing waits for the medium"


def test_a_medium_that_fails_is_told() -> None:
    files = MemoryFiles()
    files.sync_error = errno.EIO
    writer = JournalWriter(Path("a.sward"), SNAPSHOT, files)
    writer.close("complete", "asked", 0, 1.0)
    assert writer.sync_trouble == os.strerror(errno.EIO)


def test_a_real_disk_that_is_full_and_gets_room(small_disk: Path) -> None:
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(48 << 10))
    clock = HandClock()
    writer = JournalWriter(small_disk / "a.sward", SNAPSHOT, clock=clock)
    _record_some(writer, clock, 0, 200)
    assert writer.state == "disk full" and writer.bytes_waiting > 0
    ballast.unlink()
    clock.now += 1.0
    _record_some(writer, clock, 200, 300)
    assert writer.state == "recording"
    assert writer.close("complete", "asked", 0, 30.0) == b""
    run = read_run(small_disk / "a.sward")
    assert run.complete and run.frames["seq"].tolist() == list(range(300))
    assert [one.kind for one in run.events] == ["header", "rig", "disk_full", "disk_back", "trailer"]
