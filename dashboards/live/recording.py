"""The state of the recorder, as the live page words it, and the watch that asks for it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host.errors import UserError

RECORDING = {
    "none": "No run",
    "on": "Recording",
    "full": "Disk full: showing, not saved",
    "ended": "Recording ended",
    "silent": "Recorder not answering",
}


@dataclass(frozen=True)
class RecorderState:
    """`code` is a key of RECORDING; `detail` is a sentence for the person, or empty."""

    code: str
    detail: str = ""


class FileSource:
    """The bytes that have been added to a file."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("rb", buffering=0)

    def poll(self) -> bytes:
        """The next bytes."""
        return self._file.read(1 << 20) or b""

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


def open_source(path: Path) -> FileSource:
    """Follow a run file."""
    return FileSource(path)


class RecorderDoor:
    """Stands in until the recorder's client is there."""

    def watch(self, run: Path | None) -> None:
        self._run = run

    def state(self) -> RecorderState:
        return RecorderState("on")

    def tell(self, action: str, fields: dict[str, Any]) -> str:
        raise UserError("no recorder yet")

    def close(self) -> None:
        pass
