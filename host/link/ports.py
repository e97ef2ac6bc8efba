"""Opening a port by its address, and what can be wrong with it in words."""

from __future__ import annotations

import errno
import re
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from firmware_protocol.messages import BAUD
from host.errors import BadInputError, NoAnswerError, NotFoundError, NotNowError, UserError

if TYPE_CHECKING:
    import serial

WAIT_S = 0.2  # longest time `read` waits for a first byte
_WRITE_TIMEOUT_S = 1.0
_PIECE = 1 << 16


class Port(Protocol):
    """An open port. Reading and writing raise OSError when the line is gone."""

    def read(self) -> bytes:
        """What is there; waits at most WAIT_S for the first byte and returns nothing when none came."""
        ...

    def read_waiting(self) -> bytes:
        """What is there, without waiting."""
        ...

    def write(self, data: bytes) -> None:
        """Send `data`."""
        ...

    def set_baud(self, baud: int) -> None:
        """Go on at another speed; what is waiting was read at the old one and is thrown away."""
        ...

    def close(self) -> None:
        """Give the port back."""
        ...


def open_port(address: str) -> Port:
    """The port at `address`: a device such as /dev/ttyUSB0, or socket://, rfc2217:// or loop://.

    Raises NotFoundError when there is no such port, NoAnswerError when there is nobody behind it, NotNowError when it
    is in use or closed to this user, BadInputError for what is no port at all; each with the way to mend it.
    """
    import serial

    if not address:
        raise BadInputError(f"no port was given: name one, such as /dev/ttyUSB0{_ports_here()}")
    try:
        # pyserial's rfc2217 client refuses to open with a time limit for writing.
        write_timeout = None if address.lower().startswith("rfc2217://") else _WRITE_TIMEOUT_S
        port = serial.serial_for_url(
            address, baudrate=BAUD, timeout=WAIT_S, write_timeout=write_timeout, exclusive=True
        )
    except (OSError, ValueError) as error:
        raise _cannot_open(address, error) from None
    _keep_board_running(port)
    return _SerialPort(port, counts_waiting=not address.lower().startswith("socket://"))


class _SerialPort:
    """A pyserial port read as it fills, without a pause of polling."""

    def __init__(self, port: serial.Serial, counts_waiting: bool) -> None:
        self._port = port
        self._counts_waiting = counts_waiting
        self._failed: OSError | None = None

    def read(self) -> bytes:
        if self._failed:
            raise self._failed
        first: bytes = self._port.read(1)
        if not first:
            return b""
        try:
            return first + self.read_waiting()
        except OSError as error:
            self._failed = error  # told at the next call, so that the byte in hand is not lost
            return first

    def read_waiting(self) -> bytes:
        if self._counts_waiting:
            waiting = self._port.in_waiting
            return bytes(self._port.read(waiting)) if waiting else b""
        # A socket port only tells whether anything waits, so it is read without a time limit instead.
        self._port.timeout = 0
        try:
            return bytes(self._port.read(_PIECE))
        finally:
            self._port.timeout = WAIT_S

    def write(self, data: bytes) -> None:
        self._port.write(data)

    def set_baud(self, baud: int) -> None:
        with suppress(OSError, ValueError):  # a line over a network may have no speed of its own
            self._port.baudrate = baud
            self._port.reset_input_buffer()

    def close(self) -> None:
        with suppress(OSError):
            self._port.close()


def _keep_board_running(port: serial.Serial) -> None:
    """Leave DTR as it is when the port is closed.

    Many hobby boards reset when DTR falls and rises again. Opening a port raises it, so a board that was just plugged
    in starts anew once; without "hang up on close" it then stays raised, and opening the port again resets nothing.
    """
    try:
        import termios
    except ImportError:  # a system that has none
        return
    try:
        descriptor = port.fileno()
        attributes = termios.tcgetattr(descriptor)
        attributes[2] &= ~termios.HUPCL
        termios.tcsetattr(descriptor, termios.TCSANOW, attributes)
    except (OSError, AttributeError, termios.error):
        return  # no terminal of this machine: nothing to keep


def _cannot_open(address: str, error: OSError | ValueError) -> UserError:
    """What is wrong with the port at `address`, and what to do."""
    if re.match(r"[a-z0-9]+://", address, re.IGNORECASE):
        return _cannot_open_url(address, error)
    match getattr(error, "errno", None):
        case errno.ENOENT:
            mend = f"plug the board in, or give the right name{_ports_here()}"
            return NotFoundError(f"there is no port {address}: {mend}")
        case errno.EACCES | errno.EPERM:
            wrong = "you may not open port {}: add yourself to the group {} with 'sudo usermod -aG {} $USER'"
            group = _group_of(address)
            return NotNowError(f"{wrong.format(address, group, group)}, then log out and in again")
        case errno.EBUSY | errno.EAGAIN:
            mend = "end the other recording or serial monitor and start again"
            return NotNowError(f"port {address} is in use by another program: {mend}")
        case errno.ENXIO | errno.EIO | errno.ENODEV:
            return NoAnswerError(f"port {address} does not answer: unplug the board, plug it in again and start again")
    return BadInputError(f"{address} is no serial port: give the board's own{_ports_here()}")


def _cannot_open_url(address: str, error: OSError | ValueError) -> UserError:
    if isinstance(error, ValueError):
        known = "use a device, socket://, rfc2217:// or loop://"
        return BadInputError(f"{address} is no kind of port known here: {known}")
    mend = "check the address, and that the other side is running and free"
    return NoAnswerError(f"nothing answers at {address}: {mend}")


def _ports_here() -> str:
    """The ports of this machine, to be put at the end of a sentence."""
    from serial.tools.list_ports import comports

    names = sorted(port.device for port in comports() if port.vid is not None)
    return f" (there is {', '.join(names)})" if names else " (no USB serial port is plugged in now)"


def _group_of(address: str) -> str:
    try:
        return Path(address).group()
    except (OSError, KeyError):
        return "dialout"
