"""Bytes in, lines out."""

from __future__ import annotations

MAX_PENDING = 256


class LineSplitter:
    """Cuts a byte stream at line feeds, however the stream is chopped up.

    A carriage return before the line feed is taken off. A stretch of more than MAX_PENDING bytes without a line feed
    is handed out in pieces of that size, so a stream without any cannot fill the memory; empty lines are passed over.
    """

    def __init__(self) -> None:
        self._pending = b""

    def push(self, data: bytes) -> list[bytes]:
        """The lines that `data` completes, without their line feeds."""
        *lines, rest = (self._pending + data).split(b"\n")
        pieces: list[bytes] = []
        for line in lines:
            pieces += _pieces(line)
        while len(rest) > MAX_PENDING:
            pieces.append(rest[:MAX_PENDING])
            rest = rest[MAX_PENDING:]
        self._pending = rest
        return pieces

    def flush(self) -> list[bytes]:
        """What is left of an unfinished line: call it when the stream ends."""
        rest, self._pending = self._pending, b""
        return _pieces(rest)


def _pieces(line: bytes) -> list[bytes]:
    """`line` without its carriage return, cut up if it is too long; nothing for an empty line."""
    line = line.removesuffix(b"\r")
    return [line[start : start + MAX_PENDING] for start in range(0, len(line), MAX_PENDING)]
