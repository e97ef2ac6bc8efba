"""A run file that grows ten times a second, without a recorder: for tests that need the file only."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterable
from pathlib import Path

from firmware_protocol.messages import encode_identity
from host.calibrate.cards import Card, snapshot
from host.journal import JournalWriter, Snapshot
from tests.dashboards.walking import IDENTITY, RIG, STEP_S, Walk


def begin(path: Path, rig_toml: str | None = None, cards: Iterable[Card] = ()) -> JournalWriter:
    """A run file with its head and the board's first line."""
    toml = RIG.read_text(encoding="utf-8") if rig_toml is None else rig_toml
    writer = JournalWriter(path, Snapshot({"started": "2026-05-14T09:15:00+01:00"}, toml, snapshot(cards)))
    writer.event("run_start", 0.0)
    writer.raw_line(encode_identity(IDENTITY), 0.0)
    writer.flush()
    return writer


class GrowingRun:
    """Writes a walk's reports until stopped; `lines` of them are already there at the start."""

    def __init__(self, path: Path, lines: int = 50) -> None:
        self.path = path
        self.walk = Walk()
        self.writer = begin(path)
        for _ in range(lines):
            self.writer.raw_line(self.walk.report(), self.walk.time_s)
        self.writer.flush()
        self.written_at = time.monotonic()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._grow, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Write no more lines; the file stays open."""
        self._stop.set()
        self._thread.join()

    def end(self) -> None:
        """Finish the file as a recorder that was told to stop does."""
        self.stop()
        self.writer.event("run_end", self.walk.time_s, reason="test")
        self.writer.close("complete", "test", 0, self.walk.time_s)

    def _grow(self) -> None:
        due = time.monotonic()
        while not self._stop.wait(max(0.0, due - time.monotonic())):
            due += STEP_S
            self.writer.raw_line(self.walk.report(), self.walk.time_s)
            self.writer.flush()
            self.written_at = time.monotonic()
