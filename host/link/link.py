"""The link to the board: one thread that only reads, and commands with their acknowledgement."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import cycle
from queue import SimpleQueue
from typing import Any

from firmware_protocol.messages import (
    BAUDS,
    PROTOCOL_VERSION,
    REFUSALS,
    Ack,
    Capability,
    Command,
    Identity,
    LineError,
    Refusal,
    Report,
    State,
    decode,
    encode_command,
    filter_argument,
)
from firmware_protocol.splitter import LineSplitter
from firmware_protocol.version import speaks_our_protocol
from host.errors import NoAnswerError, NotFoundError, OtherVersionError, RefusedByBoardError, UserError
from host.link.interval import AskedInterval
from host.link.ports import Port, open_port
from host.link.requests import Requests

RETRY_S = 0.5  # between attempts to open a port that is gone
SILENT_S = 2.5  # the slowest board reports once a second
BOARD_WAIT_S = 5.0  # a hobby board's boot loader takes two seconds
IDENTITY_GRACE_S = 1.0  # reports but no answer to "who are you": a line that only comes in
ASK_AGAIN_S = 1.0
ASKS = 5  # after each opening; a board that cannot hear must not have its line filled up
REPLY_S = 0.5
TRIES = 3
STATE_GAP_S = 5.0  # state lines further apart are not one answer: what was asked meanwhile would be in the second
WRONG_SPEED_S = 1.5  # so long only damage: PROTOCOL.md, section 2
# At the end of a run what the board sent may still be on its way through driver and network: the line must have been
# found empty so many times in a row, and is looked at so many times at most, for a board that never pauses.
_DRAIN_PAUSE_S, _DRAIN_EMPTY, _DRAIN_LOOKS = 0.005, 10, 60


@dataclass(frozen=True, slots=True)
class LineRead:
    """A line as it came, without line feed, and when its last byte had been read (the link's clock, s)."""

    stamp: float
    raw: bytes


@dataclass(frozen=True, slots=True)
class LinkChange:
    """Something happened to the line: `kind` is "link_lost", "link_back" or "board_start"."""

    stamp: float
    kind: str
    detail: dict[str, Any]


class Link:
    """The line to one board.

    `items` gives what was read, as LineRead and LinkChange, in order, then None once the link has stopped; a queue
    that is given may carry other things as well. The reading thread does nothing that
    could hold it up. When the port is gone it is opened again every `retry_s` seconds until it is back.
    `opener` makes a Port from the address; `clock` gives seconds that never jump. `filters` are arguments of the
    command `f`: they are sent whenever the board says that it filters otherwise, so after each of its starts, too.
    `interval` asks for reports at its `wanted_ms`.
    """

    def __init__(
        self,
        address: str,
        opener: Callable[[str], Port] = open_port,
        clock: Callable[[], float] = time.monotonic,
        retry_s: float = RETRY_S,
        items: SimpleQueue[Any] | None = None,
        filters: tuple[int, ...] = (),
    ) -> None:
        self.address = address
        self.filters = filters
        self.items: SimpleQueue[Any] = items or SimpleQueue()
        self.identity: Identity | None = None
        self.bytes_read = 0
        self.lines = 0
        self.wire_damage = 0
        self.trouble = ""  # why a port that was lost and is there again cannot be opened
        self._opener = opener
        self._clock = clock
        self._retry_s = retry_s
        self._port: Port | None = None
        self._stopping = threading.Event()
        self._changed = threading.Condition()  # guards _replies; told when a sound line came
        self._replies: dict[int, Ack | Refusal] = {}
        self._requests = Requests(self._send, clock, REPLY_S)
        self.interval = AskedInterval(self._requests)
        self.not_taken: set[int] = set()  # of the filters, those that two state lines lack in a row
        self._missing: set[int] = set()
        self._state_at = -1e9
        self._state_asked: int | None = None  # the start that was asked which filters it has taken
        self._commanding = threading.Lock()
        self._tag = 0
        self._boot: int | None = None
        self._last_byte = self._last_sound = self._asked = -1e9
        self._asks = 0
        self._opened = -1e9
        self._first_sound: float | None = None
        self._baud_since = -1e9  # when the present speed was begun with
        self._bauds = cycle(BAUDS[1:] + BAUDS[:1])
        self._thread = threading.Thread(target=self._run, name="swardflow link", daemon=True)

    def start(self) -> None:
        """Open the port and begin to read; UserError with the way to mend it when it cannot be opened."""
        self._port = self._opener(self.address)
        self._opened = self._baud_since = self._clock()
        self._ask_identity()
        self._thread.start()

    def stop(self) -> None:
        """Read what has already arrived, close the port, end `items`."""
        self._stopping.set()
        if self._thread.ident is None:
            self.items.put(None)
        else:
            self._thread.join()

    @property
    def state(self) -> str:
        """How the line is: "ok", "lost", "silent" (nothing comes), "unreadable", or "wrong protocol"."""
        if self._port is None:
            return "lost"
        now = self._clock()
        if now - self._last_sound <= SILENT_S and self._last_sound >= self._opened:
            return "wrong protocol" if self._protocol_differs() else "ok"
        return "unreadable" if now - self._last_byte <= SILENT_S else "silent"

    @property
    def quiet_s(self) -> float | None:
        """Seconds since the last sound line; None before the first."""
        return None if self._first_sound is None else self._clock() - self._last_sound

    @property
    def nameless(self) -> bool:
        """Whether a board is heard that has been asked often enough who it is, and does not say."""
        return self.identity is None and self._asks >= ASKS and self._first_sound is not None

    @property
    def deaf(self) -> bool:
        """Whether a board is heard that answers nothing it is asked."""
        return self._requests.deaf and self.state == "ok"

    def wait_for_board(
        self, timeout_s: float = BOARD_WAIT_S, *, any_protocol: bool = False, say: Callable[[str], None] | None = None
    ) -> None:
        """Return once a board that speaks our protocol has been heard, or one of any with `any_protocol`.

        `say` gets a message when nothing has come for SILENT_S, or for half of the time where that is shorter. Raises
        NoAnswerError when nothing arrives or nothing readable, OtherVersionError when the board speaks another.
        """
        early_s = min(SILENT_S, timeout_s / 2)
        with self._changed:
            heard = self._changed.wait_for(lambda: self.lines > self.wire_damage, early_s)
        if say and not (heard or self.bytes_read):  # outside the lock: whoever is told must not hold up the reading
            say(f"Nothing comes from {self.address} yet: is it the right port, has the board power?")
        with self._changed:
            self._changed.wait_for(lambda: self.lines > self.wire_damage, timeout_s - early_s)
            if self.lines > self.wire_damage:
                self._changed.wait_for(lambda: self.identity is not None, min(timeout_s, IDENTITY_GRACE_S))
        if self._protocol_differs() and self.identity and not any_protocol:
            raise OtherVersionError(
                f"the board on {self.address} speaks protocol {self.identity.protocol} and this Swardflow speaks "
                f"{PROTOCOL_VERSION}: load the firmware that belongs to it, or update Swardflow"
            )
        if self._first_sound is not None:
            return
        if self.bytes_read:
            raise NoAnswerError(
                f"what arrives on {self.address} cannot be read: set the board to {' or '.join(map(str, BAUDS))} baud, "
                "or check that this is the board's port"
            )
        raise NoAnswerError(
            f"no board is heard on {self.address}: check that it has power, that its firmware is loaded and that the "
            "cable carries data"
        )

    def command(self, letter: str, argument: int = 0) -> Ack:
        """Send a command and wait for the board to acknowledge it; it is sent again when no reply comes.

        Raises RefusedByBoardError when the board refuses, NoAnswerError when it says nothing.
        """
        with self._commanding:
            self._tag = self._tag % 255 + 1
            line = encode_command(Command(letter, self._tag, argument)) + b"\n"
            self._requests.held = True
            try:
                reply = self._reply_to(line)
            finally:
                self._requests.held = False
        if isinstance(reply, Ack):
            return reply
        if isinstance(reply, Refusal) and reply.code != 0x01:
            reason = REFUSALS.get(reply.code, f"reason {reply.code}")
            raise RefusedByBoardError(f"the board on {self.address} refused the command: {reason}")
        if self.quiet_s is not None and self.quiet_s < SILENT_S:
            raise NoAnswerError(
                f"the board on {self.address} sends but does not answer: check the wire from the computer to the board"
            )
        raise NoAnswerError(f"the board on {self.address} does not answer: check the cable and that it has power")

    def _reply_to(self, line: bytes) -> Ack | Refusal | None:
        """What the board says to the command under the newest tag; None where it says nothing."""
        reply = None
        for _ in range(TRIES):
            with self._changed:  # a board need not hold a second command
                self._changed.wait_for(lambda: not self._requests.pending, REPLY_S)
            self._send(line)
            with self._changed:
                self._changed.wait_for(lambda: self._tag in self._replies, REPLY_S)
                reply = self._replies.pop(self._tag, None)
            if reply is not None and not (isinstance(reply, Refusal) and reply.code == 0x01):
                return reply  # else its checksum broke on the way: once more
        return reply

    def _run(self) -> None:
        splitter = LineSplitter()
        try:
            while not self._stopping.is_set():
                if self._port is None:
                    self._try_again()
                else:
                    self._read_once(self._port, splitter)
            self._drain(splitter)
        finally:
            if self._port:
                self._port.close()
                self._port = None
            self.items.put(None)

    def _read_once(self, port: Port, splitter: LineSplitter) -> None:
        try:
            data = port.read()
        except OSError as error:
            self._lose(splitter, str(error))
            return
        if data:
            self._take(splitter.push(data), len(data))
        self._try_other_speed(port)
        known = self.identity is not None and self.identity.boot == self._boot
        if not known and self._asks < ASKS and self._clock() - self._asked > ASK_AGAIN_S:
            self._ask_identity()
        self._requests.tick()

    def _try_other_speed(self, port: Port) -> None:
        """A board may run at either of two speeds: at the wrong one all that comes is damage."""
        now = self._clock()
        unreadable = self._last_byte >= self._baud_since > self._last_sound
        if unreadable and now - self._baud_since > WRONG_SPEED_S:
            port.set_baud(next(self._bauds))
            self._baud_since = now

    def _drain(self, splitter: LineSplitter) -> None:
        """Take what the board had sent when the end came: until the line has been quiet for a moment."""
        empty = 0
        try:
            for _ in range(_DRAIN_LOOKS):
                if not self._port or empty == _DRAIN_EMPTY:
                    break
                if data := self._port.read_waiting():
                    self._take(splitter.push(data), len(data))
                    empty = 0
                else:
                    empty += 1
                    time.sleep(_DRAIN_PAUSE_S)
        except OSError:
            pass  # gone at the very end: there is nothing more to be had
        self._take(splitter.flush(), 0)

    def _lose(self, splitter: LineSplitter, reason: str) -> None:
        self._take(splitter.flush(), 0)
        if self._port:
            self._port.close()
        self._port = None
        self.items.put(LinkChange(self._clock(), "link_lost", {"reason": reason}))

    def _try_again(self) -> None:
        if self._stopping.wait(self._retry_s):
            return
        try:
            self._port = self._opener(self.address)
        except (NotFoundError, NoAnswerError):
            self.trouble = ""  # unplugged, which `state` says already
            return
        except UserError as error:  # plugged in, and yet it cannot be opened: that does not mend itself
            self.trouble = str(error)
            return
        self.trouble = ""
        self.identity, self._asks, self._opened = None, 0, self._clock()
        self.interval.started()
        self._baud_since, self._bauds = self._opened, cycle(BAUDS[1:] + BAUDS[:1])
        self._requests.clear()
        self.items.put(LinkChange(self._clock(), "link_back", {}))
        self._ask_identity()

    def _take(self, lines: list[bytes], count: int) -> None:
        stamp = self._clock()
        if count:
            self.bytes_read += count
            self._last_byte = stamp
        for raw in lines:
            self.items.put(LineRead(stamp, raw))
        for raw in lines:  # after all have been handed on: whoever follows the run is not kept waiting
            self._look_at(raw, stamp)

    def _look_at(self, raw: bytes, stamp: float) -> None:
        """Keep count, and pick out what concerns the link itself."""
        try:
            message = decode(raw)
        except LineError:
            with self._changed:
                self.lines += 1
                self.wire_damage += 1
            return
        if isinstance(message, Report | Identity) and message.boot != self._boot:
            if self._boot is not None:
                self.items.put(LinkChange(stamp, "board_start", {"boot": message.boot}))
                self._asks, self._asked = 0, stamp  # who it is may come damaged, and what it is to do hangs on it
                self.interval.started()
            self._boot = message.boot
        with self._changed:
            self.lines += 1
            self._last_sound = stamp
            self._first_sound = stamp if self._first_sound is None else self._first_sound
            if isinstance(message, Identity):
                self.identity = message
                self._requests.heard("q")
                self.interval.stated(message.interval_ms)
            elif isinstance(message, State):
                self._set_filters(message, stamp)
            elif isinstance(message, Ack | Refusal):
                if message.tag:
                    self._replies[message.tag] = message
                self._take_reply(message)
            self._changed.notify_all()

    def _take_reply(self, message: Ack | Refusal) -> None:
        letter = self._requests.take(message)
        if letter == "n":
            self.interval.replied(message)
        if letter in ("f", "n") and not self._requests.pending:
            self._ask_state()

    def _ask_identity(self) -> None:
        self._asked = self._clock()
        self._asks += 1
        self._requests.add("q", tries=1)

    def _ask_state(self) -> None:
        """What is in force an identity line says and the state line that comes with it: ask once a start."""
        if self._state_asked != self._boot:
            self._state_asked = self._boot
            self._requests.add("q", tries=TRIES)

    def _set_filters(self, state: State, stamp: float) -> None:
        in_force = (
            filter_argument(Capability.FLOW, state.flow_rule, state.flow_filter),
            filter_argument(Capability.WHEEL, state.wheel_rule, state.wheel_filter),
        )
        missing = {wanted for wanted in self.filters if wanted not in in_force}
        if stamp - self._state_at > STATE_GAP_S:
            self.not_taken = missing & self._missing
        self._missing, self._state_at = missing, stamp
        for wanted in self.filters:
            if wanted in missing:
                self._requests.add("f", wanted, tries=TRIES)

    def _send(self, line: bytes) -> None:
        """Send `line` if the port is there. That it went wrong shows in the missing reply."""
        port = self._port
        if port:
            try:
                port.write(line)
            except OSError:
                return

    def _protocol_differs(self) -> bool:
        if self.identity is None:
            return False
        return not speaks_our_protocol(self.identity.protocol)
