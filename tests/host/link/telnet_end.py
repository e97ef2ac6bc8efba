"""A board on a serial port that another computer shares over the network (RFC 2217), by pyserial's own server side."""

from __future__ import annotations

import queue
import socket
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import serial
from serial import rfc2217

from host.link import Port, open_port


class _Connection:
    """What pyserial's server side writes its answers to."""

    def __init__(self, client: socket.socket) -> None:
        self._client = client

    def write(self, data: bytes) -> None:
        self._client.sendall(data)


class Rfc2217End:
    """See ENDS in test_link.py. The far port is pyserial's loop://, of which only the settings are used."""

    def __init__(self, folder: Path) -> None:
        del folder
        self._server = socket.create_server(("127.0.0.1", 0))
        self.address = f"rfc2217://127.0.0.1:{self._server.getsockname()[1]}"
        self._client: socket.socket | None = None
        self._manager: rfc2217.PortManager | None = None
        self._commands: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self._far = serial.serial_for_url("loop://")
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def opener(self, address: str) -> Port:
        return open_port(address)

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
