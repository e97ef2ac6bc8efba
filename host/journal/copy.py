"""A copy of a run in memory, compressed: what saves the run when its file is deleted, replaced or cut short."""

from __future__ import annotations

import zlib
from collections.abc import Iterator

LIMIT = 256 << 20  # bytes, compressed: some hundred hours at ten lines a second


class MemoryCopy:
    """Everything that was added, in order. `whole` is False once the limit has been reached and it keeps no more."""

    def __init__(self, limit: int = LIMIT) -> None:
        self.whole = True
        self._limit = limit
        self._press = zlib.compressobj(1)
        self._pressed: list[bytes] = []
        self._size = 0

    def add(self, data: bytes) -> None:
        """Keep these bytes as well."""
        if not self.whole:
            return
        pressed = self._press.compress(data)
        if pressed:
            self._pressed.append(pressed)
            self._size += len(pressed)
        if self._size > self._limit:
            self.whole = False
            self._pressed.clear()

    def pieces(self) -> Iterator[bytes]:
        """All that was added, in pieces. Nothing when the copy is not whole any more."""
        if not self.whole:
            return
        unpress = zlib.decompressobj()
        for pressed in [*self._pressed, self._press.copy().flush()]:
            if piece := unpress.decompress(pressed):
                yield piece
