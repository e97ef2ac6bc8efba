"""A board on the bench: its line read and written in one thread, with the time each line came."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from firmware_protocol.messages import Ack, Command, LineError, Message, Refusal, decode, encode_command
from firmware_protocol.splitter import LineSplitter
from host.link.ports import Port


@dataclass(frozen=True, slots=True)
class Heard:
    """A line as it came; `message` is None where it is damaged (then `fault` says how) or of an unknown kind."""

    stamp_s: float
    raw: bytes
    message: Message | None
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Exchange:
    """What came after something was sent: the reply, None if there was none, and how long it took."""

    reply: Ack | Refusal | None
    took_s: float
    heard: list[Heard]


class Bench:
    """An open port with a board behind it. `clock` gives seconds that never jump; OSError when the port is gone."""

    def __init__(self, port: Port, clock: Callable[[], float]) -> None:
        self._port = port
        self.clock = clock
        self._splitter = LineSplitter()
        self._tag = 0

    def set_baud(self, baud: int) -> None:
        """Go on at another speed."""
        self._port.set_baud(baud)

    def hear(self) -> list[Heard]:
        """The lines that have come; waits a fraction of a second for the first byte."""
        data = self._port.read()
        stamp = self.clock()
        return [_read(stamp, raw) for raw in self._splitter.push(data)]

    def hear_for(self, seconds: float) -> list[Heard]:
        """All lines of the next `seconds`."""
        end = self.clock() + seconds
        heard: list[Heard] = []
        while self.clock() < end:
            heard += self.hear()
        return heard

    def send(self, data: bytes) -> None:
        """Send bytes as they are."""
        self._port.write(data)

    def ask(self, letter: str, argument: int = 0, patience_s: float = 1.0) -> Exchange:
        """Send a command and wait for its reply."""
        self._tag = self._tag % 255 + 1
        return self.ask_raw(encode_command(Command(letter, self._tag, argument)), self._tag, patience_s)

    def ask_raw(self, line: bytes, tag: int, patience_s: float = 1.0) -> Exchange:
        """Send any line and wait for a reply with `tag`."""
        sent = self.clock()
        self._port.write(line + b"\n")
        heard: list[Heard] = []
        while self.clock() - sent < patience_s:
            came = self.hear()
            heard += came
            for line_heard in came:
                reply = line_heard.message
                if isinstance(reply, Ack | Refusal) and reply.tag == tag:
                    return Exchange(reply, line_heard.stamp_s - sent, heard)
        return Exchange(None, self.clock() - sent, heard)


def _read(stamp: float, raw: bytes) -> Heard:
    try:
        return Heard(stamp, raw, decode(raw))
    except LineError as fault:
        return Heard(stamp, raw, None, str(fault))
