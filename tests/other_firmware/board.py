"""The firmware, by PROTOCOL.md: a machine that is told the time and hands out bytes. It owns no clock."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from . import wire
from .boom import Edges, World
from .filters import REST, SPACING, Input
from .outlet import Outlet

FIRST_INTERVAL_MS = 100  # section 7, n
IDENTITY_S, STATE_S = 60.0, 10.0  # section 6
READING_S = 0.004  # as many converter readings as it can (section 5)
QUEUE = 4  # timed edges that fit while the board is held up
LOW_MV = 4700


@dataclass(frozen=True)
class Restart:
    """The board stops at `at` (world seconds), for such a cause, and starts `down` seconds later."""

    at: float
    down: float = 0.4
    cause: str = "W"


@dataclass(frozen=True)
class Build:
    """What was flashed and what is fitted. `keeps`: what memory outlives a reset: nothing, counts, or report."""

    name: str = "other-firmware"
    firmware: str = "0.9-s"
    protocol: str = "1.1"
    full_scale: int = 3600
    fitted: int = 0x0F
    serial: int = 0x0BADCAFE
    kind: str = "invented-32"
    drift: float = 0.003
    flow_filter: tuple[int, int] = (SPACING, 120)
    wheel_filter: tuple[int, int] = (SPACING, 500)
    baud: int = 115_200
    room: int = 192
    keeps: str = "nothing"
    tells_identity: bool = True
    hears: bool = True
    mute: bool = False
    says_interval_ms: int | None = None  # what the identity line claims, where that is not so
    says_full_scale: int | None = None

    @property
    def minor(self) -> int:
        return int(self.protocol.split(".")[1])


@dataclass(frozen=True)
class Already:
    """What a board that has long been on has counted: its first report does not begin at 0."""

    clock_us: int = 0
    flow: int = 0
    wheel: int = 0
    seq: int = 0


@dataclass
class Board:
    """One board on one walk. `advance` and `receive` take world seconds that never go back."""

    build: Build
    world: World
    boot: int = 7
    already: Already = field(default_factory=Already)
    restarts: tuple[Restart, ...] = ()
    held: tuple[tuple[float, float], ...] = ()
    stalls: tuple[tuple[float, float], ...] = ()
    cause: str = "P"
    interval_ms: int = FIRST_INTERVAL_MS

    def __post_init__(self) -> None:
        self._coming = list(self.restarts)
        self._outlet = Outlet(self.build.baud, self.build.room, self.stalls)
        self._filters = [self.build.flow_filter, self.build.wheel_filter]
        self._gone: list[tuple[float, bytes]] = []
        self._heard = b""
        self._overflow = False
        self._up = False
        self._queued: Counter[tuple[int, tuple[float, float]]] = Counter()
        self._start(0.0, (0, 0))
        if self.already != Already():
            self._left = (self.already.flow, self.already.wheel)
            for one, count in zip(self._inputs, self._left, strict=True):
                one.count, one.edge = count, 0.0
            self._seq = self.already.seq

    # ------------------------------------------------------------------ time

    def advance(self, until: float) -> list[tuple[float, bytes]]:
        """All bytes that have left by `until`, each piece with the moment of its last byte."""
        while True:
            what, when = min(self._due.items(), key=lambda item: item[1])
            stop = self._coming[0].at if self._coming else float("inf")
            if self._up and stop <= min(when, until):
                self._stop(self._coming[0])
            elif when <= until:
                self._do(what, when)
            else:
                break
        self._count(until)
        self._collect(until)
        gone, self._gone = self._gone, []
        return [] if self.build.mute else gone

    def _do(self, what: str, when: float) -> None:
        held_until = max((end for begin, end in self.held if begin <= when < end), default=None)
        if what == "start":
            self._start(when, self._carried)
        elif held_until is not None:
            self._due[what] = held_until
        elif what == "report":
            self._report(when)
        elif what == "identity":
            self._due["identity"] = when + IDENTITY_S
            self._tell_identity(when)
        elif what == "state":
            self._due["state"] = when + STATE_S
            self._outlet.other(when, self._state(when))
        self._settle(when)

    def _settle(self, now: float) -> None:
        """Lines that wait for room are looked after every 2 ms; a board that is held up does not."""
        self._outlet.settle(now)
        self._due["line"] = now + 0.002 if self._outlet.waits else float("inf")

    @property
    def filters(self) -> list[tuple[int, int]]:
        """Rule and time (µs) of the flow and the wheel input, as in force."""
        return list(self._filters)

    def clock(self, now: float) -> int:
        """The board's clock, µs, not yet wrapped."""
        return self._clock_zero + int((now - self._started) * (1 + self.build.drift) * 1e6)

    # ---------------------------------------------------------------- starts

    def _start(self, now: float, carried: tuple[int, int]) -> None:
        self._up = True
        self._started, self._seq, self._lines_dropped = now, 0, 0
        self._clock_zero = self.already.clock_us if now == 0.0 else 0
        self._inputs = [Input(rule, time) for rule, time in self._filters]
        for one, above in zip(self._inputs, carried, strict=True):
            one.count = above
        self._sources: list[Iterator[tuple[float, float]]] = [
            _after(edges, now) for edges in (self.world.flow, self.world.wheel)
        ]
        self._next: list[tuple[float, float] | None] = [next(source, None) for source in self._sources]
        self._left = (0, 0)  # highest counts that have left whole
        self._whole: list[tuple[float, tuple[int, int], bytes]] = []
        self._frame_from, self._outputs = now, (0, 0, float("inf"))
        self._grid = now
        self._due = {"report": self._grid + self._interval_s(), "identity": now + 0.03}
        if not self.build.tells_identity:
            del self._due["identity"]
        if self.build.minor >= 1:
            self._due["state"] = now + STATE_S

    def _interval_s(self) -> float:
        return self.interval_ms / 1000.0 / (1 + self.build.drift)

    def _stop(self, restart: Restart) -> None:
        """A reset: the line underway is cut; what is kept follows section 8, 'Pulses counted after the last report'."""
        now = restart.at
        self._coming.pop(0)
        self._count(now)
        self._collect(now)
        part, report_cut = self._outlet.cut(now)
        counts = (self._inputs[0].count, self._inputs[1].count)
        self._carried, again = (0, 0), b""
        if restart.cause != "P" and self.build.keeps != "nothing":
            base = self._left
            if report_cut and self.build.keeps == "report":
                _, base, again = self._whole[0]
            self._carried = (counts[0] - base[0], counts[1] - base[1])
        started = now + restart.down
        first = (b"?" if report_cut and self.build.keeps != "nothing" else b"") + b"\n" + again
        if part:
            self._gone.append((now, part))
        self._gone.append((started + len(first) * 10 / self.build.baud, first))
        self._up = False
        self._due = {"start": started + 0.009}  # the boot loader
        self.cause, self.boot = restart.cause, (self.boot + 1) % 256
        self.interval_ms = FIRST_INTERVAL_MS
        if self.build.keeps == "nothing" or restart.cause == "P":
            self._filters = [self.build.flow_filter, self.build.wheel_filter]

    # ---------------------------------------------------------------- pulses

    def _count(self, until: float) -> None:
        """Take the edges up to `until`; while the board is held up, a queue of a few is all that fits."""
        if not self._up:
            return
        for number, source in enumerate(self._sources):
            one, edge = self._inputs[number], self._next[number]
            if not self.build.fitted & (wire.FLOW, wire.WHEEL)[number]:
                continue
            while edge is not None and edge[0] <= until:
                one.take(*edge, partial(self._queue_has_room, number, edge[0]))
                edge = next(source, None)
            self._next[number] = edge

    def _queue_has_room(self, number: int, time: float) -> bool:
        for hold in self.held:
            if hold[0] <= time < hold[1]:
                self._queued[number, hold] += 1
                return self._queued[number, hold] <= QUEUE
        return True

    def _edge_us(self, one: Input) -> int:
        return 0 if one.edge is None else max(1, self.clock(one.edge) % 2**32)

    # ---------------------------------------------------------------- lines

    def _report(self, now: float) -> None:
        self._count(now)
        flow, wheel = self._inputs
        flags = self._flags(now, flow, wheel)
        made = wire.Report(
            boot=self.boot,
            seq=self._seq,
            clock=self.clock(now),
            flow_count=flow.count,
            flow_edge=self._edge_us(flow),
            wheel_count=wheel.count,
            wheel_edge=self._edge_us(wheel),
            pressure=self._pressure(now),
            flags=flags,
            edges_dropped=flow.dropped + wheel.dropped,
            lines_dropped=self._lines_dropped,
        ).written()
        self._seq += 1
        leaves = self._outlet.report(now, made)
        if leaves is None:
            self._lines_dropped += 1
        else:
            self._whole.append((leaves, (flow.count, wheel.count), made))
            self._frame_from = now
            flow.glitch = wheel.glitch = False
        interval = self._interval_s()
        self._grid += interval
        if self._grid <= now:  # held up for a whole interval: no burst
            self._grid = now + interval
        self._due["report"] = self._grid

    def _flags(self, now: float, flow: Input, wheel: Input) -> int:
        fitted = self.build.fitted
        states = {
            wire.SPRAY: bool(fitted & wire.SWITCH) and self.world.switch_closed(now),
            wire.FLOW_GLITCH: flow.glitch,
            wire.WHEEL_GLITCH: wheel.glitch,
            wire.UNPLANNED_RESET: self.cause in "WB",
            wire.SUPPLY_LOW: self.world.supply_mv(now) < LOW_MV,
            wire.OUTPUT_ON: any(self._outputs[:2]) and now < self._outputs[2],
        }
        return sum(bit for bit, state in states.items() if state)

    def _pressure(self, now: float) -> tuple[int, int, int]:
        if not self.build.fitted & wire.PRESSURE:
            return 0, 0, 0
        number = max(10 if self.interval_ms >= 100 else 1, int((now - self._frame_from) / READING_S))
        times = now - (now - self._frame_from) * np.arange(number) / number
        readings = self.world.readings(times, self.build.full_scale)
        return int(readings.sum()) * 16 // number, int(readings.min()), int(readings.max())

    def _tell_identity(self, now: float) -> None:
        """The identity line and, from 1.1 on, the lines H and S behind it."""
        if not self.build.tells_identity:
            return
        build = self.build
        scale = build.full_scale if build.says_full_scale is None else build.says_full_scale
        interval = self.interval_ms if build.says_interval_ms is None else build.says_interval_ms
        said = f"{build.protocol} {build.name} {build.firmware} {scale:04X} {interval:04X} {build.fitted:02X}"
        self._outlet.other(now, wire.line(f"I{self.boot:02X} {said} {self.cause}"))
        if build.minor >= 1:
            self._outlet.other(now, wire.line(f"H{self.boot:02X} {build.serial:08X} {build.kind}"))
            self._outlet.other(now, self._state(now))

    def _state(self, now: float) -> bytes:
        self._count(now)
        inputs = " ".join(
            f"{one.refused % 2**32:08X} {one.dropped % 65536:04X} {one.rule:X} {one.filter_us:04X}"
            for one in self._inputs
        )
        return wire.line(f"S{self.boot:02X} {self.clock(now) % 2**32:08X} {inputs} {self.world.supply_mv(now):04X}")

    def _collect(self, now: float) -> None:
        self._gone += self._outlet.gone(now)
        while self._whole and self._whole[0][0] <= now:
            self._left = self._whole.pop(0)[1]

    # -------------------------------------------------------------- commands

    def receive(self, now: float, data: bytes) -> None:
        """Bytes from the host, at `now`; the caller has advanced to `now` before."""
        if not (self._up and self.build.hears):
            return
        self._count(now)
        *lines, self._heard = (self._heard + data).split(b"\n")
        for one in lines:
            if self._overflow:
                self._overflow = False
                self._outlet.other(now, wire.Refusal(0, wire.TOO_LONG).written())
            else:
                self._answer(now, one)
        if len(self._heard) > wire.LONGEST_COMMAND + 1:
            self._overflow, self._heard = True, b""
        self._settle(now)

    def _answer(self, now: float, raw: bytes) -> None:
        if not raw.removesuffix(b"\r"):
            return  # an empty line is passed over
        command = wire.understood(raw, "qpno" + ("f" if self.build.minor >= 1 else ""))
        result: int | wire.Refusal
        before = (self.interval_ms, *self._filters)
        if isinstance(command, wire.Refusal):
            result = command
        elif command.letter == "q":
            self._tell_identity(now)
            result = 0
        elif command.letter == "p":
            result = self.clock(now) % 2**32
        else:
            assert command.value is not None
            value = command.value
            code = {"n": self._set_interval, "o": self._set_outputs, "f": self._set_filter}[command.letter](now, value)
            result = wire.Refusal(command.tag, code) if code else int(value, 16)
        if isinstance(result, wire.Refusal):
            self._outlet.other(now, result.written())
            return
        assert isinstance(command, wire.Command)
        self._outlet.other(now, wire.line(f"A{command.tag:02X} {command.letter} {result:08X}"))
        if self.build.minor >= 1 and before != (self.interval_ms, *self._filters):
            self._tell_identity(now)

    def _set_interval(self, now: float, value: str) -> int:
        wanted = int(value, 16)
        if not 20 <= wanted <= 1000:
            return wire.WRONG_VALUE
        self.interval_ms = wanted
        self._grid = now + self._interval_s()
        self._due["report"] = self._grid
        return 0

    def _set_outputs(self, now: float, value: str) -> int:
        buzzer, light, tenths = int(value[0], 16), int(value[1], 16), int(value[2:], 16)
        if buzzer > 3 or light > 3:
            return wire.WRONG_VALUE
        fitted = self.build.fitted
        if (buzzer and not fitted & wire.BUZZER) or (light and not fitted & wire.LIGHT):
            return wire.NOT_FITTED
        self._outputs = (buzzer, light, now + tenths / 10 if tenths else float("inf"))
        return 0

    def _set_filter(self, _now: float, value: str) -> int:
        number, rule, micro = int(value[0], 16) - 1, int(value[1], 16), int(value[2:], 16)
        if number not in (0, 1) or rule not in (SPACING, REST) or not 50 <= micro <= 50_000:
            return wire.WRONG_VALUE
        if not self.build.fitted & (wire.FLOW, wire.WHEEL)[number]:
            return wire.NOT_FITTED
        self._filters[number] = (rule, micro)
        self._inputs[number].rule, self._inputs[number].filter_us = rule, micro
        return 0


def _after(edges: Edges, now: float) -> Iterator[tuple[float, float]]:
    first = int(np.searchsorted(edges.time, now, side="right"))
    return zip(edges.time[first:].tolist(), edges.rest[first:].tolist(), strict=True)


def played(board: Board, until: float, commands: Iterable[tuple[float, bytes]] = ()) -> Iterator[tuple[float, bytes]]:
    """The bytes of a whole walk, as fast as they can be made; commands come at their times (ascending)."""
    for at, command in commands:
        yield from board.advance(at)
        board.receive(at, command)
    step = 1.0
    now = step
    while now < until + step:
        yield from board.advance(min(now, until))
        now += step
