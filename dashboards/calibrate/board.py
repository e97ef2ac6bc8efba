"""The reports of the board, out of the run that is being recorded: calibrating needs no second way to the port."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from firmware_protocol.messages import Report
from firmware_protocol.vectorized import REPORT_DTYPE
from host.journal.reader import RunReader
from host.recorder import RunFollower
from host.run_folder import QUIET_S, newest_run

_NAMES = [name for name in REPORT_DTYPE.names or () if name in Report.__dataclass_fields__]
START = "start one on the page Start"


class BoardReports:
    """Follows the newest run of a folder whenever it is asked. Not thread-safe."""

    def __init__(self, runs: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self._runs = runs
        self._clock = clock
        self._source: RunFollower | None = None
        self._reader = RunReader()
        self._came_at: float | None = None
        self.run: Path | None = None
        self.adc_full_scale = 1023.0
        self.ended = False

    def fresh(self, everything: bool) -> list[Report]:
        """The reports since the last time; only the newest one of them when not `everything` is wanted.

        Raises UserError when the run cannot be read.
        """
        caught_up = self._follow_newest()
        reports: list[Report] = []
        while self._source is not None and (data := self._source.poll()):
            batch = self._reader.push(data)
            for event in batch.events:
                if event.kind == "identity":
                    self.adc_full_scale = float(event.detail["adc_full_scale"])
                self.ended = self.ended or event.kind in ("run_end", "trailer")
            rows = batch.frames if everything else batch.frames[-1:]
            reports += [Report(**{name: int(row[name]) for name in _NAMES}) for row in rows]
            if len(batch.frames) and caught_up:
                self._came_at = self._clock()
        return reports

    def trouble(self) -> str:
        """Why nothing can be counted at the moment; empty when reports come."""
        if self.run is None:
            return f"No run is being recorded, so nothing can be counted: {START}."
        if self.ended:
            return f"The recording {self.run.stem} has ended, so nothing can be counted: {START}."
        if self._came_at is None or self._clock() - self._came_at > QUIET_S:
            return "No report of the board comes: look at the Live page and at the board's cable."
        return ""

    def _follow_newest(self) -> bool:
        """Take up a newer run; False when this one has only just been opened and holds the past."""
        newest = newest_run(self._runs)
        if newest is None or newest == self.run:
            return True
        source = RunFollower(newest)
        if self._source is not None:
            self._source.close()
        self._source, self._reader, self.run = source, RunReader(), newest
        self._came_at, self.ended = None, False
        return False

    def close(self) -> None:
        """Let go of the run's file."""
        if self._source is not None:
            self._source.close()
            self._source = None
