"""The other end of a line, for the tests: something that a board's bytes are put into and commands taken from."""

from __future__ import annotations

import os
import select
import socket
import threading
import time
import tty
from contextlib import suppress
from pathlib import Path
from typing import Any, Self

import serial

from firmware_protocol.messages import (
    Ack,
    Command,
    Identity,
    LineError,
    Refusal,
    Report,
    decode_command,
    encode_identity,
    encode_reply,
    encode_report,
)
from firmware_protocol.splitter import LineSplitter
from host.link import Port, open_port


def report(seq: int, boot: int = 7) -> bytes:
    """A report's line, with line feed, whose counts grow with `seq`."""
    counts = (seq * 3, seq * 99_000 % 2**32, seq * 2, seq * 98_000 % 2**32)
    line = encode_report(Report(boot, seq % 65_536, seq * 100_000 % 2**32, *counts, 8_000, 490, 510, 1, 0, 0))
    return line + b"\n"


def identity(boot: int = 7, protocol: str = "1.0") -> bytes:
    return encode_identity(Identity(boot, protocol, "bench", "1.0", 1023, 100, 0x3F, "P")) + b"\n"


class PtyEnd:
    """A pseudo-terminal: `address` is what a recorder opens. `unplug` takes it away, `plug` brings another."""

    def __init__(self, folder: Path) -> None:
        self.address = str(folder / "board")
        self._master = self._slave = -1
        self.plug()

    def plug(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        Path(self.address).unlink(missing_ok=True)
        Path(self.address).symlink_to(os.ttyname(self._slave))

    def unplug(self) -> None:
        Path(self.address).unlink(missing_ok=True)
        os.close(self._slave)
        os.close(self._master)
        self._master = -1

    def send(self, data: bytes) -> None:
        while data:
            data = data[os.write(self._master, data) :]

    def has_room(self) -> bool:
        """Whether a line can be sent without waiting for a reader."""
        return bool(select.select([], [self._master], [], 0.0)[1])

    def unread(self, last: bytes) -> bytes:
        """What was sent, `last` at the end, and nobody has taken; it is taken with this."""
        data = b""
        while not data.endswith(last) and select.select([self._slave], [], [], 1.0)[0]:
            data += os.read(self._slave, 65_536)
        return data

    def receive(self, wait_s: float = 0.05) -> bytes:
        if self._master < 0:
            time.sleep(wait_s)
            return b""
        ready, _, _ = select.select([self._master], [], [], wait_s)
        return os.read(self._master, 4_096) if ready else b""

    def opener(self, address: str) -> Port:
        return open_port(address)

    def close(self) -> None:
        if self._master >= 0:
            self.unplug()


class SocketEnd:
    """A board behind a TCP server."""

    def __init__(self, folder: Path) -> None:
        del folder
        self._server = socket.create_server(("127.0.0.1", 0))
        self.address = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._client: socket.socket | None = None

    def opener(self, address: str) -> Port:
        port = open_port(address)
        self._client, _ = self._server.accept()
        return port

    def unplug(self) -> None:
        if self._client:
            self._client.close()

    def plug(self) -> None:
        """The server has been there all the time."""

    def send(self, data: bytes) -> None:
        assert self._client
        self._client.sendall(data)

    def receive(self, wait_s: float = 0.05) -> bytes:
        if not self._client:
            time.sleep(wait_s)
            return b""
        ready, _, _ = select.select([self._client], [], [], wait_s)
        return self._client.recv(4_096) if ready else b""

    def close(self) -> None:
        self.unplug()
        self._server.close()


class LoopEnd:
    """pyserial's loop://: what is written comes back. Commands are kept out of the loop and handed to the board."""

    address = "loop://"

    def __init__(self, folder: Path) -> None:
        del folder
        self._port: Any = None
        self._gone = False
        self.bauds: list[int] = []
        self._commands = b""
        self._arrived = threading.Event()

    def opener(self, address: str) -> Port:
        end = self

        class Looped:
            def __init__(self) -> None:
                self._inner = open_port(address)

            def read(self) -> bytes:
                if end._gone:
                    raise serial.SerialException("unplugged")
                return self._inner.read()

            def read_waiting(self) -> bytes:
                return self._inner.read_waiting()

            def write(self, data: bytes) -> None:
                end._commands += data
                end._arrived.set()

            def set_baud(self, baud: int) -> None:
                self._inner.set_baud(baud)
                end.bauds.append(baud)

            def close(self) -> None:
                self._inner.close()

        self._gone = False
        port = Looped()
        self._port = port._inner
        return port

    def unplug(self) -> None:
        self._gone = True

    def plug(self) -> None:
        """Opening it again is all it takes."""

    def send(self, data: bytes) -> None:
        for start in range(0, len(data), 2_048):  # the loop holds 4 KiB
            self._port.write(data[start : start + 2_048])

    def receive(self, wait_s: float = 0.05) -> bytes:
        self._arrived.wait(wait_s)
        self._arrived.clear()
        data, self._commands = self._commands, b""
        return data

    def close(self) -> None:
        """Nothing outlives the port."""


class ListeningBoard:
    """Takes the commands that come to its `end` in a thread of its own, one after the other, by `take`."""

    def __init__(self, end: Any) -> None:
        self._end, self._splitter = end, LineSplitter()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def take(self, command: Command) -> None:
        """What a board does with it."""
        raise NotImplementedError

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._ending.is_set():
            try:
                lines = self._splitter.push(self._end.receive())
            except (OSError, ValueError):
                continue  # unplugged
            for line in lines:
                with suppress(LineError):
                    self.take(decode_command(line))


class AnsweringBoard(ListeningBoard):
    """Answers commands. `deaf_for` commands are passed over first; `refuse` is sent instead."""

    def __init__(self, end: Any, deaf_for: int = 0, refuse: int | None = None, boot: int = 7) -> None:
        super().__init__(end)
        self.heard: list[str] = []
        self._deaf_for, self._refuse, self._boot = deaf_for, refuse, boot

    def take(self, command: Command) -> None:
        """Reply to it."""
        self.heard.append(command.letter)
        if command.letter == "q":
            self._end.send(identity(self._boot))
        elif self._deaf_for:
            self._deaf_for -= 1
        elif self._refuse is not None:
            self._end.send(encode_reply(Refusal(command.tag, self._refuse)) + b"\n")
        else:
            self._end.send(encode_reply(Ack(command.tag, command.letter, command.argument)) + b"\n")
