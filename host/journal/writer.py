"""Appends a run to its file: at once for whoever follows it, twice a second for the medium, and past a full disk."""

from __future__ import annotations

import errno
import itertools
import math
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from firmware_protocol.messages import PROTOCOL_VERSION
from host.errors import NotSavedError, reason_of
from host.events import check_event
from host.journal import records
from host.journal.copy import MemoryCopy
from host.journal.files import Files, SystemFiles
from host.journal.order import CHECKPOINT_S, Segment
from host.journal.syncing import Syncer

SYNC_INTERVAL_S = 0.5
RETRY_INTERVAL_S = 0.5
LOOK_INTERVAL_S = 1.0  # between looks at whether the file is still there
RESCUED = "-rescued"
MOST_RESCUES = 99
PENDING_LIMIT = 64 << 20  # bytes held while the disk is full: at 10 lines a second, 17 hours
WRITE_PIECE = 1 << 16

RECORDING, DISK_FULL, DISK_ERROR = "recording", "disk full", "disk error"


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What was in force when the run began: the caller's part of the header, the rig's text, calibrations."""

    header: Mapping[str, Any]
    rig_toml: str
    calibrations: Sequence[Mapping[str, Any]] = ()

    def records(self) -> list[bytes]:
        """As records, each one twice, so that one damaged byte cannot lose the rig."""
        once = [
            records.json_record(records.HEADER, 0.0, {**_own_header(), **self.header}),
            records.json_record(records.RIG, 0.0, {"toml": self.rig_toml}),
            *(records.json_record(records.CALIBRATION, 0.0, dict(one)) for one in self.calibrations),
        ]
        return once * 2


class JournalWriter:
    """One run file being written, by one thread; `tail`, `state` and the counts may be read from any thread.

    Times are seconds since the start of the run, given by the caller with each record. `clock` (seconds, monotonic)
    only paces the retries while the disk is full. What has been recorded is in the file when `flush` returns, unless
    the disk is full: then it waits in memory and follows when there is room.

    Raises UserError when the file cannot be made, FileExistsError when the name is taken.
    """

    def __init__(
        self,
        path: Path,
        snapshot: Snapshot,
        files: Files | None = None,
        clock: Callable[[], float] = time.monotonic,
        pending_limit: int = PENDING_LIMIT,
    ) -> None:
        self.path = path
        self.state = RECORDING
        self.trouble = ""  # the system's words for why the disk takes nothing
        self.rescued: list[str] = []  # a sentence for each file that was lost under the run, and saved again
        self.counts: dict[str, int] = {}
        self.lost = ""  # what happened to the file, while no new one can be made in its place
        self.lines_lost = 0  # raw lines that found the memory full as well
        self._files = files or SystemFiles()
        self._clock = clock
        self._pending_limit = pending_limit
        self._pending = bytearray()
        self._written = 0
        self._lock = threading.Lock()  # guards _pending and _written together
        self._retry_at = 0.0
        self._last_s = 0.0
        self._copied = 0  # bytes of the run that the copy holds
        self._of_this_moment: set[bytes] = set()
        self._segment = Segment()
        self._checkpoint_at = CHECKPOINT_S
        self._copy = MemoryCopy()
        self._look_at = clock() + LOOK_INTERVAL_S
        self._lost_reported = 0
        first = snapshot.records()
        try:
            self._descriptor = self._files.create(path)
        except FileExistsError:
            raise
        except OSError as error:
            raise NotSavedError(
                f"run file {path} cannot be made: {error.strerror}; choose another folder for runs"
            ) from None
        self._syncer = Syncer(lambda: self._files.sync(self._descriptor), SYNC_INTERVAL_S)
        for record in first:
            self._queue(record)
        self.flush()

    @property
    def bytes_written(self) -> int:
        """Bytes in the file."""
        return self._written

    @property
    def bytes_waiting(self) -> int:
        """Bytes that the disk has not taken yet."""
        return len(self._pending)

    @property
    def sync_trouble(self) -> str:
        """Why the last attempt to reach the medium itself failed, empty if it did not."""
        return self._syncer.trouble

    def raw_line(self, line: bytes, host_s: float) -> None:
        """Record a line as the board sent it. Call `flush` after the last one of those at hand."""
        record = self._unlike_others(lambda at: records.raw_record(line, at), host_s)
        host_s = self._last_s
        if len(self._pending) + len(record) > self._pending_limit:
            self.lines_lost += 1
            return
        self._report_lost(host_s)
        self._queue(record)
        if host_s >= self._checkpoint_at:
            self._checkpoint(host_s)

    def event(self, kind: str, host_s: float, **detail: Any) -> None:
        """Record an event; ValueError for a kind or a key that RUN_FILE.md does not name."""
        check_event(kind, set(detail))
        content = {"kind": kind, **detail}
        self._queue(self._unlike_others(lambda at: records.json_record(records.EVENT, at, content), host_s))
        self.flush()

    def note(self, key: str, value: str, host_s: float) -> None:
        """Record a note: product, area, operator, weather, or free text."""
        content = {"key": key, "value": value}
        self._queue(self._unlike_others(lambda at: records.json_record(records.NOTE, at, content), host_s))
        self.flush()

    def flush(self) -> bool:
        """Hand the file what is waiting; True when nothing waits any more.

        While the disk is full this tries again at most every half second, so it can be called at any rate.
        """
        if self.state != RECORDING and self._clock() < self._retry_at:
            return False
        if self._clock() >= self._look_at:
            self.look_at_file()
        if self.lost:
            return False
        try:
            while self._pending:
                self._write_piece()
        except OSError as error:
            self._stall(error)
            return False
        if self.state != RECORDING:
            self._recover()
            return self.flush()
        return True

    def look_at_file(self) -> None:
        """Save the run into a new file when something has happened to the one that was being written."""
        self._look_at = self._clock() + LOOK_INTERVAL_S
        try:
            reason = self._files.wrong(self._descriptor, self.path, self._written)
        except OSError as error:  # a disk that was pulled, a server that is gone
            reason = f"it cannot be looked at any more ({reason_of(error)})"
        if not reason:
            self.lost = ""
            return
        old = self.path
        try:
            new, descriptor = self._made_anew()
        except OSError as error:
            self.lost = reason
            self._stall(OSError(error.errno, f"the run file is gone ({reason}) and no new one can be made"))
            return
        self.lost = ""
        self._let_go()
        with self._lock:
            self._pending, self._copied = self._whole_run()
            self.path, self._descriptor = new, descriptor
            self._written = 0
        again = "the run was saved again" if self._copy.whole else "what came before could not be saved again"
        self.rescued.append(f"the run file {old.name} was lost: {reason}; {again}, in {new}")
        detail = {"kind": "file_rescued", "reason": reason, "file": old.name}
        self._queue(self._unlike_others(lambda at: records.json_record(records.EVENT, at, detail), self._last_s))

    def _made_anew(self) -> tuple[Path, int]:
        """A new file beside the one that is gone. Raises OSError."""
        stem = self.path.stem.partition(RESCUED)[0]
        for number in itertools.count(1):
            path = self.path.with_name(f"{stem}{RESCUED}{f'-{number}' if number > 1 else ''}{self.path.suffix}")
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                return path, self._files.create(path)
            except FileExistsError:
                if number > MOST_RESCUES:
                    raise
        raise AssertionError

    def tail(self, offset: int) -> bytes:
        """What the file will hold from `offset` on and does not hold yet; nothing where it holds that byte already."""
        with self._lock:
            return bytes(self._pending[offset - self._written :]) if offset >= self._written else b""

    def close(self, status: str, reason: str, wire_damage: int, host_s: float) -> bytes:
        """Write the trailer, drain, bring everything to the medium and close.

        Returns the bytes that a full disk would not take, empty when all is in the file; the whole run, as far as it is
        in memory, when its file was `lost`.
        """
        self._retry_at = self._look_at = 0.0
        self.flush()
        self._report_lost(host_s)
        trailer = {"status": status, "reason": reason, "records": dict(self.counts), "wire_damage": wire_damage}
        trailer |= self._segment.content()
        self._queue(records.json_record(records.TRAILER, self._in_order(host_s), trailer))
        self._look_at = math.inf  # nothing may follow the trailer
        self.flush()
        self._syncer.stop()
        self._let_go()
        return bytes(self._whole_run()[0]) if self.lost else self.tail(self._written)

    def _whole_run(self) -> tuple[bytearray, int]:
        """All of the run that is in memory, and how much of it the copy holds."""
        kept = b"".join(self._copy.pieces())
        # When a file is lost before the run has been written into it anew, what waits begins within the copy.
        return bytearray(kept) + self._pending[max(len(kept) - self._written, 0) :], len(kept)

    def _let_go(self) -> None:
        with suppress(OSError):  # what was not stored was said by `sync`, or is found missing
            self._files.close(self._descriptor)

    def _queue(self, record: bytes) -> None:
        tag = chr(record[0])
        self.counts[tag] = self.counts.get(tag, 0) + 1
        self._segment.add(record, tag)
        with self._lock:
            self._pending += record

    def _in_order(self, host_s: float) -> float:
        """The time to write: what a person told may be handled after a line that was stamped later."""
        if not host_s >= 0:
            raise ValueError(f"time since the start of the run must be 0 s or more, not {host_s}")
        if host_s > self._last_s:
            self._last_s = host_s
            self._of_this_moment.clear()
        return self._last_s

    def _unlike_others(self, made_at: Callable[[float], bytes], host_s: float) -> bytes:
        """The record at that time; a microsecond later where the same stands already: no two of a file are alike."""
        record = made_at(self._in_order(host_s))
        while record in self._of_this_moment:
            record = made_at(self._in_order(self._last_s + 1e-6))
        self._of_this_moment.add(record)
        return record

    def _checkpoint(self, host_s: float) -> None:
        """Say what stands since the checkpoint before, so that a reader can tell whether it still does."""
        content = self._segment.content()
        self._checkpoint_at = host_s + CHECKPOINT_S
        record = records.json_record(records.CHECKPOINT, host_s, content)
        self._queue(record)
        self._segment.close()

    def _report_lost(self, host_s: float) -> None:
        lost = self.lines_lost - self._lost_reported
        if lost:
            self._lost_reported = self.lines_lost
            detail = {"kind": "lines_lost", "count": lost, "reason": "disk and memory full"}
            self._queue(records.json_record(records.EVENT, host_s, detail))

    def _write_piece(self) -> None:
        with self._lock:
            piece = bytes(self._pending[:WRITE_PIECE])
        count = self._files.write(self._descriptor, piece)  # without the lock: a slow disk must not hold up `tail`
        with self._lock:
            del self._pending[:count]
            self._written += count
            fresh = max(self._written - self._copied, 0)
            self._copied += fresh
        if fresh:
            self._copy.add(piece[count - fresh : count])
        self._syncer.wanted()

    def _stall(self, error: OSError) -> None:
        self._retry_at = self._clock() + RETRY_INTERVAL_S
        self.trouble = error.strerror or str(error)
        if self.state == RECORDING:
            self.state = DISK_FULL if error.errno in (errno.ENOSPC, errno.EDQUOT) else DISK_ERROR
            detail = {"kind": "disk_full", "reason": self.trouble}
            self._queue(records.json_record(records.EVENT, self._last_s, detail))

    def _recover(self) -> None:
        self.state, self.trouble = RECORDING, ""
        self._queue(records.json_record(records.EVENT, self._last_s, {"kind": "disk_back"}))


@cache
def _own_header() -> dict[str, Any]:
    try:
        own = version("swardflow")
    except PackageNotFoundError:
        own = "not installed"
    return {
        "format": "swardflow run",
        "schema": records.SCHEMA,
        "protocol": PROTOCOL_VERSION,
        "software": {"swardflow": own, "python": sys.version.split()[0]},
        "columns": records.COLUMNS,
    }
