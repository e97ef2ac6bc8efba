"""The file of a run that goes on is deleted, moved, replaced or cut short: nothing that was recorded is lost."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from host.journal import JournalWriter, Snapshot, read_run
from host.journal.copy import MemoryCopy
from tests.host.journal.file_systems import FailingFiles, HandClock, MemoryFiles
from tests.host.journal.samples import RIG, report_line

WAYS: dict[str, Callable[[Path], object]] = {
    "deleted": lambda path: path.unlink(),
    "moved away": lambda path: path.rename(path.with_suffix(".moved")),
    "replaced by a copy": lambda path: _replace(path, path.read_bytes()),
    "replaced by an empty file": lambda path: _replace(path, b""),
    "replaced by another file": lambda path: _replace(path, b"something else\n"),
    "cut to nothing": lambda path: os.truncate(path, 0),
    "cut short": lambda path: os.truncate(path, 500),
    "folder removed": lambda path: shutil.rmtree(path.parent),
    "folder moved away": lambda path: path.parent.rename(path.parent.with_name("elsewhere")),
    "written into": lambda path: os.truncate(path, path.stat().st_size + 11),
}


def _replace(path: Path, content: bytes) -> None:
    other = path.with_suffix(".other")
    other.write_bytes(content)
    other.replace(path)


@pytest.mark.parametrize("way", WAYS)
def test_the_run_goes_on_in_a_new_file_that_holds_all_of_it(way: str, tmp_path: Path) -> None:
    clock = HandClock()
    (tmp_path / "runs").mkdir()
    writer = JournalWriter(tmp_path / "runs" / "a.sward", Snapshot({}, RIG), clock=clock)
    for number in range(200):
        writer.raw_line(report_line(number), 0.1 * number)
        if number == 100:
            writer.flush()
            WAYS[way](writer.path)
        if number == 150:
            clock.now += 1.1
            writer.flush()
            assert len(writer.rescued) == 1 and "a.sward was lost" in writer.rescued[0]
    assert writer.close("complete", "asked", 0, 20.0) == b""
    assert writer.path == tmp_path / "runs" / "a-rescued.sward"
    run = read_run(writer.path)
    assert run.complete and run.frames["seq"].tolist() == list(range(200))
    assert [event.detail["file"] for event in run.events if event.kind == "file_rescued"] == ["a.sward"]


def test_lost_in_the_last_second_is_noticed_at_the_end(tmp_path: Path) -> None:
    writer = JournalWriter(tmp_path / "a.sward", Snapshot({}, RIG), clock=HandClock())
    writer.raw_line(report_line(1), 0.1)
    writer.flush()
    writer.path.unlink()
    writer.close("complete", "asked", 0, 1.0)
    assert read_run(tmp_path / "a-rescued.sward").complete


def test_lost_twice_is_saved_twice(tmp_path: Path) -> None:
    clock = HandClock()
    writer = JournalWriter(tmp_path / "a.sward", Snapshot({}, RIG), clock=clock)
    for number in range(3):
        writer.raw_line(report_line(number), 0.1 * number)
        writer.flush()
        writer.path.unlink()
        clock.now += 1.1
        writer.flush()
    assert writer.path.name == "a-rescued.sward" or writer.path.name.startswith("a-rescued-")
    assert len(writer.rescued) == 3
    writer.close("complete", "asked", 0, 1.0)
    assert read_run(writer.path).frames["seq"].tolist() == [0, 1, 2]


CALLS = [(first, first + length) for first in (2, 3, 9, 20, 35, 36, 37, 41) for length in (0, 3, 999)]


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EIO, errno.EACCES])
@pytest.mark.parametrize(("first", "last"), CALLS)
def test_whatever_the_disk_refuses_while_the_file_is_deleted_nothing_is_lost(
    first: int, last: int, error: int, tmp_path: Path
) -> None:
    """For a moment or for good, in any call: what the disk does not take is given back at the end."""
    clock = HandClock()
    writer = JournalWriter(tmp_path / "a.sward", Snapshot({}, RIG), FailingFiles(first, last, error), clock)
    for number in range(200):
        writer.raw_line(report_line(number), 0.1 * number)
        if number % 5 == 0:
            clock.now += 0.6
            writer.flush()
        if number == 100:
            writer.path.unlink()
    rest = writer.close("complete", "asked", 0, 21.0)
    saved = tmp_path / "rest.sward"
    saved.write_bytes(rest if writer.lost else writer.path.read_bytes() + rest)
    run = read_run(saved)
    assert run.complete and run.frames["seq"].tolist() == list(range(200))


def test_where_no_new_file_can_be_made_the_run_is_not_written_into_the_lost_one(tmp_path: Path) -> None:
    """And not called recorded; once a file can be made again, it holds all of the run."""
    clock, files = HandClock(), FailingFiles(4, 8, errno.EACCES)
    writer = JournalWriter(tmp_path / "a.sward", Snapshot({}, RIG), files, clock)
    writer.path.unlink()
    seen = []
    for number in range(10):
        writer.raw_line(report_line(number), 0.1 * number)
        clock.now += 1.1
        writer.flush()
        seen.append((writer.state, bool(writer.lost)))
    assert ("disk error", True) in seen and seen[-1] == ("recording", False)
    assert ("recording", True) not in seen
    writer.close("complete", "asked", 0, 1.0)
    assert read_run(tmp_path / "a-rescued.sward").frames["seq"].tolist() == list(range(10))


def test_lost_again_before_it_was_written_anew_it_holds_nothing_twice(tmp_path: Path) -> None:
    clock, files = HandClock(), MemoryFiles()
    writer = JournalWriter(tmp_path / "a.sward", Snapshot({}, RIG), files, clock)
    for number in range(20):
        writer.raw_line(report_line(number), 0.1 * number)
    writer.flush()
    files.room = 300  # bytes: the run does not go into the next file, nor into the one after it
    for _ in range(2):
        del files.content[writer.path]
        clock.now += 1.1
        assert not writer.flush()
    files.room = None
    clock.now += 1.1
    writer.close("complete", "asked", 0, 3.0)
    saved = tmp_path / "saved.sward"
    saved.write_bytes(files.content[writer.path])
    run = read_run(saved)
    assert writer.path.name == "a-rescued-2.sward" or len(writer.rescued) == 2
    assert run.complete and run.frames["seq"].tolist() == list(range(20))


def test_the_copy_gives_back_what_it_got_and_stops_at_its_limit() -> None:
    copy, whole = MemoryCopy(), b""
    for number in range(500):
        copy.add(report_line(number))
        whole += report_line(number)
    assert b"".join(copy.pieces()) == whole == b"".join(copy.pieces())
    small = MemoryCopy(limit=100)
    small.add(os.urandom(200_000))
    assert not small.whole and list(small.pieces()) == []
