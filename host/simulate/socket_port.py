"""A port over a network connection that a reader opens as `socket://HOST:PORT`, where there are no pseudo-terminals."""

from __future__ import annotations

import re
import socket
from contextlib import suppress

from host.errors import BadInputError, NotSavedError

HERE = "socket://127.0.0.1:0"  # any free port, for this computer alone
_ADDRESS = re.compile(r"socket://\[?([^/\[\]]+?)\]?:(\d{1,5})", re.IGNORECASE)


class SocketPort:
    """The board's end of a connection; `path` is what a reader opens. One reader at a time. Writing never blocks."""

    def __init__(self, address: str = HERE) -> None:
        found = _ADDRESS.fullmatch(address)
        if not found or int(found[2]) > 65_535:
            raise BadInputError(f"{address} is no address: give one such as socket://127.0.0.1:5000")
        try:
            self._door = socket.create_server((found[1], int(found[2])), backlog=1)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise NotSavedError(f"{address} cannot be opened ({reason}): choose another with --link") from None
        self._door.setblocking(False)
        self.path = f"socket://{found[1]}:{self._door.getsockname()[1]}"
        self._reader: socket.socket | None = None

    def has_reader(self) -> bool:
        """Whether somebody is connected."""
        if self._reader is None:
            with suppress(BlockingIOError):
                self._reader = self._door.accept()[0]
                self._reader.setblocking(False)
        elif self._gone():
            self._let_go()
        return self._reader is not None

    def write(self, data: bytes) -> int:
        """Write as much as there is room for, and say how many bytes that was."""
        if self._reader is None:
            return 0
        try:
            return self._reader.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._let_go()
            return 0

    def read(self) -> bytes:
        """What the reader has sent, empty if nothing."""
        received = b""
        while self._reader is not None:
            try:
                data = self._reader.recv(4096)
            except BlockingIOError:
                break
            except OSError:
                data = b""
            if not data:
                self._let_go()
            received += data
        return received

    def was_emptied(self) -> bool:
        """A connection does not tell."""
        return False

    def unread(self) -> int:
        """A connection does not tell what the other end has taken: what was sent counts as read."""
        return 0

    def close(self) -> None:
        """Pull the cable."""
        self._let_go()
        self._door.close()

    def _gone(self) -> bool:
        assert self._reader is not None
        try:
            return self._reader.recv(1, socket.MSG_PEEK) == b""
        except BlockingIOError:
            return False
        except OSError:
            return True

    def _let_go(self) -> None:
        if self._reader is not None:
            self._reader.close()
            self._reader = None
