"""How a board with little memory reads what the host sends: line by line, keeping no more than it needs."""

from __future__ import annotations

from firmware_protocol.messages import MAX_COMMAND

_KEPT = MAX_COMMAND + 2  # enough to see that a line is too long, with or without a carriage return


class CommandReader:
    """Bytes in, lines out. A line that is too long is read to its line feed and handed out once, cut short."""

    def __init__(self) -> None:
        self._pending = b""

    def push(self, data: bytes) -> list[bytes]:
        """The lines that `data` completes, without line feed and carriage return; empty ones are passed over."""
        *lines, rest = data.split(b"\n")
        complete = []
        for line in lines:
            complete.append((self._pending + line)[:_KEPT].removesuffix(b"\r"))
            self._pending = b""
        self._pending = (self._pending + rest)[:_KEPT]
        return [line for line in complete if line]
