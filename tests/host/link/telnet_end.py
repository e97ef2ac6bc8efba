"""A board on a serial port that another computer shares over the network (RFC 2217), by pyserial's own server side."""

from __future__ import annotations

import queue
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import serial
from serial import rfc2217

from host.link import Port, open_port


class _Connection:
    """What pyserial's server side writes its answers to."""

    def __init__(self, client: socket.socket) -> None:
        self._client = client

    def write(self, data: bytes) -> None:
        self._client.sendall(data)


class _Counted:
    """A port that knows how many bytes have come through it or lie ready in it."""

    def __init__(self, port: Port) -> None:
        self._port: Any = port
        self._taken = 0

    def arrived(self) -> int:
        return self._taken + int(self._port._port.in_waiting)

    def read(self) -> bytes:
        return self._count(self._port.read())

    def read_waiting(self) -> bytes:
        return self._count(self._port.read_waiting())

    def write(self, data: bytes) -> None:
        self._port.write(data)

    def set_baud(self, baud: int) -> None:
        self._port.set_baud(baud)

    def close(self) -> None:
        self._port.close()

    def _count(self, data: bytes) -> bytes:
        self._taken += len(data)
        return data


class Rfc2217End:
    """See ENDS in test_link.py. The far port is pyserial's loop://, of which only the settings are used."""

    def __init__(self, folder: Path) -> None:
        del folder
        self._server = socket.create_server(("127.0.0.1", 0))
        self.address = f"rfc2217://127.0.0.1:{self._server.getsockname()[1]}"
        self._client: socket.socket | None = None
        self._manager: rfc2217.PortManager | None = None
        self._commands: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self._near: _Counted | None = None
        self._sent = 0
        self._far = serial.serial_for_url("loop://")
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def opener(self, address: str) -> Port:
        self._near, self._sent = _Counted(open_port(address)), 0
        return self._near

    def unplug(self) -> None:
        if client := self._client:
            self._client = None
            with suppress(OSError):
                client.shutdown(socket.SHUT_RDWR)
            client.close()

    def plug(self) -> None:
        """The server has been there all the time."""

    def send(self, data: bytes) -> None:
        assert self._client and self._manager
        self._client.sendall(b"".join(self._manager.escape(data)))
        self._sent += len(data)
        # pyserial's client reads in a thread of its own: sent means here that this thread has it.
        deadline = time.monotonic() + 60.0
        while self._near and self._near.arrived() < self._sent and self._client:
            assert time.monotonic() < deadline, "pyserial's client does not take what is sent"
            time.sleep(0.001)

    def receive(self, wait_s: float = 0.05) -> bytes:
        try:
            return self._commands.get(timeout=wait_s)
        except queue.Empty:
            return b""

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self.unplug()
        self._thread.join()
        self._far.close()

    def _serve(self) -> None:
        for client in self._clients():
            manager = rfc2217.PortManager(self._far, _Connection(client))
            self._client, self._manager = client, manager
            with suppress(OSError):
                while data := client.recv(4_096):
                    plain = b"".join(manager.filter(data))
                    if plain:
                        self._commands.put(plain)

    def _clients(self) -> Iterator[socket.socket]:
        with suppress(OSError):
            while True:
                yield self._server.accept()[0]
