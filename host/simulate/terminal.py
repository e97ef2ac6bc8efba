"""A pseudo-terminal that a reader opens as it opens a board's serial port."""

from __future__ import annotations

import errno
import fcntl
import os
import select
import struct
import termios
import tty
from pathlib import Path

from host.errors import NotSavedError


class PseudoTerminal:
    """The board's end of a pseudo-terminal; `path` is the end that a reader opens.

    With `link` a symbolic link of that name points to it for as long as it exists. Writing never blocks.
    """

    def __init__(self, link: Path | None = None) -> None:
        self._ours, theirs = os.openpty()
        # Raw, or the reader's own bytes would be echoed to it before it has set its port up.
        tty.setraw(theirs)
        self.path = os.ttyname(theirs)
        # Opened and closed once, so that from now on the system tells whether a reader has it open.
        os.close(theirs)
        os.set_blocking(self._ours, False)
        # Packet mode: each read begins with a byte that is 0 for data and else says what the other end has done.
        fcntl.ioctl(self._ours, termios.TIOCPKT, struct.pack("i", 1))
        self._was_emptied = False
        self._link = link
        if link is not None:
            _point(link, self.path)
        self._poll = select.poll()
        self._poll.register(self._ours, select.POLLIN)

    def has_reader(self) -> bool:
        """Whether somebody has the other end open."""
        return not any(event & select.POLLHUP for _, event in self._poll.poll(0))

    def write(self, data: bytes) -> int:
        """Write as much as there is room for, and say how many bytes that was."""
        try:
            return os.write(self._ours, data)
        except BlockingIOError:
            return 0

    def read(self) -> bytes:
        """What the reader has sent, empty if nothing."""
        received = b""
        while True:
            try:
                packet = os.read(self._ours, 4096)
            except BlockingIOError:
                return received
            except OSError as error:
                if error.errno == errno.EIO:  # nobody has it open
                    return received
                raise
            if packet[:1] == b"\0":
                received += packet[1:]
            elif packet and packet[0] & termios.TIOCPKT_FLUSHREAD:
                self._was_emptied = True

    def was_emptied(self) -> bool:
        """Whether the reader has thrown its input away since this was last asked; known after `read`."""
        emptied, self._was_emptied = self._was_emptied, False
        return emptied

    def unread(self) -> int:
        """Bytes that the reader has not taken yet."""
        theirs = os.open(self.path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            count = fcntl.ioctl(theirs, termios.FIONREAD, struct.pack("i", 0))
        finally:
            os.close(theirs)
        return int(struct.unpack("i", count)[0])

    def close(self) -> None:
        """Pull the cable: a reader gets an error, the path is gone."""
        os.close(self._ours)
        if self._link is not None and self._link.is_symlink() and str(self._link.readlink()) == self.path:
            self._link.unlink()


def _point(link: Path, path: str) -> None:
    if link.exists() and not link.is_symlink():
        raise NotSavedError(f"{link} is not a symbolic link and is left alone; choose another name with --link")
    fresh = link.with_name(f".{link.name}.{os.getpid()}")
    try:
        fresh.symlink_to(path)
        fresh.replace(link)
    except OSError as error:
        raise NotSavedError(f"link {link} cannot be made: {error.strerror}; choose another name with --link") from None
