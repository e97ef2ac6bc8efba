"""Plays the raw lines of a run file again, byte for byte, damaged ones too."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from itertools import accumulate
from pathlib import Path

from host.errors import DamagedFileError
from host.journal import records
from host.simulate.wire import TimedLine


class ReplaySource:
    """The raw lines of the run file `path`, each due as long after the first as when it was recorded.

    Commands from the host go nowhere: a recording answers nothing. Records of the file that are damaged are left out
    and counted in `damaged`. Raises UserError when the file cannot be read or holds no line.
    """

    def __init__(self, path: Path) -> None:
        self.damaged = 0
        try:
            data = path.read_bytes()
        except OSError as error:
            raise DamagedFileError(f"run file {path} cannot be read: {error.strerror}; check the path") from None
        self._lines = deque(self._raw_lines(data))
        if not self._lines:
            raise DamagedFileError(f"run file {path} holds no line of a board; choose a recording that does")
        first_s = self._lines[0][0]
        due = accumulate((at_s - first_s for at_s, _ in self._lines), max)  # a damaged time goes back to no other
        self._lines = deque((at_s, line) for at_s, (_, line) in zip(due, self._lines, strict=True))
        self._duration_s = self._lines[-1][0]

    def _raw_lines(self, data: bytes) -> Iterator[TimedLine]:
        for text in data.split(b"\n"):
            try:
                found = [records.parse(text)]
            except records.RecordError:
                found = records.salvage(text)
                self.damaged += bool(text)
            for record in found:
                if record.tag != records.RAW:
                    continue
                try:
                    yield record.host_s, records.raw_line(record.payload)
                except records.RecordError:
                    self.damaged += 1

    @property
    def duration_s(self) -> float:
        """Time from the first line to the last."""
        return self._duration_s

    @property
    def over(self) -> bool:
        """Whether every line has been handed out."""
        return not self._lines

    def connected(self, at_s: float) -> bool:
        """A recording is always connected: its gaps are gaps in time."""
        return True

    def next_due_s(self) -> float:
        """When the next line is due."""
        return self._lines[0][0] if self._lines else self._duration_s

    def due(self, until_s: float) -> list[TimedLine]:
        """The lines up to `until_s` after the first, in order."""
        lines = []
        while self._lines and self._lines[0][0] <= until_s:
            lines.append(self._lines.popleft())
        return lines

    def receive(self, data: bytes, at_s: float) -> None:
        """Passed over."""
