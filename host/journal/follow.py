"""Reads a run file while it is being written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Self

from host.errors import DamagedFileError, NotFoundError

POLL_BYTES = 1 << 22  # at most so many bytes at once, so that catching up with a long run stays in steps


def nothing_more(offset: int) -> bytes:
    """The future of a file whose recorder cannot be asked."""
    del offset
    return b""


class FileFollower:
    """Hands out what has been appended to a run file since the last time.

    `future` gives the bytes that the recorder could not write yet, from an offset on; they are handed out once, and
    passed over when they have reached the file. `most` bytes are handed out at once.

    Raises UserError when the file cannot be opened.
    """

    def __init__(self, path: Path, future: Callable[[int], bytes] = nothing_more, most: int = POLL_BYTES) -> None:
        self.path = path
        self._most = most
        self.offset = 0  # of the next byte to be handed out
        self._future = future
        try:
            self._file = path.open("rb", buffering=0)
        except OSError as error:
            raise NotFoundError(f"run file {path} cannot be followed: {error.strerror}; check the name") from None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def poll(self) -> bytes:
        """New bytes, empty when there are none. Raises UserError when the file cannot be read any more."""
        try:
            self._file.seek(self.offset)
            data = self._file.read(self._most) or b""
        except OSError as error:
            raise DamagedFileError(
                f"run file {self.path} cannot be read any more: {error.strerror}; check its disk"
            ) from None
        data = data or self._future(self.offset)
        self.offset += len(data)
        return data

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()
