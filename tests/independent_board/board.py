"""The board: counts the sprayer's pulses and says them in lines, with all that may befall a board and its cable."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from firmware_protocol.messages import Identity
from host.frames import FRAME_DTYPE
from tests.independent_board.lines import Who, identity, report
from tests.independent_board.sprayer import Sprayer

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Reports = npt.NDArray[np.void]

_LINE_S = 0.007  # 80 bytes at 115,200 baud
_SPRAY = 0x01


@dataclass(frozen=True)
class Restart:
    """The board is down from `at_s` on for `down_s`; with `keeps` its memory outlives that (section 8, SHOULD)."""

    at_s: float
    down_s: float = 1.5
    keeps: bool = False


@dataclass(frozen=True)
class Mishaps:
    """What goes wrong. Silences are times between which no line arrives, although the board goes on counting."""

    silences: tuple[tuple[float, float], ...] = ()
    restarts: tuple[Restart, ...] = ()
    flow_dropped: tuple[int, ...] = ()  # numbers of the pulses that the board notices and does not count
    wheel_dropped: tuple[int, ...] = ()
    stalls: tuple[tuple[float, float], ...] = ()  # the board cannot send, and drops its reports
    glitch_s: tuple[float, ...] = ()  # flow edges refused as too close


@dataclass(frozen=True)
class Board:
    """`lines` gives what arrives, each with its time on the computer's clock (s)."""

    who: Who = field(default_factory=Who)
    clock_fast: float = 0.002
    boot: int = 7
    first_clock_us: int = 0
    first_counts: tuple[int, int] = (0, 0)
    says_who: bool = True
    mishaps: Mishaps = field(default_factory=Mishaps)

    def lines(self, sprayer: Sprayer, rng: np.random.Generator) -> list[tuple[float, bytes]]:
        """All that arrives at the computer, in order."""
        sent: list[tuple[float, bytes]] = []
        for start in self._starts(sprayer):
            sent += start.lines()
        times = np.array([at for at, _ in sent])
        stamps, heard = self._arrival(times, rng)
        arrived = zip(stamps.tolist(), sent, heard.tolist(), strict=True)
        return [(stamp, line) for stamp, (_, line), is_heard in arrived if is_heard]

    def frames(self, sprayer: Sprayer, rng: np.random.Generator) -> tuple[Reports, list[tuple[float, Identity]]]:
        """The same as a receiver that has read them has it: reports (FRAME_DTYPE), and identities with their times."""
        parts = [start.frames() for start in self._starts(sprayer)]
        reports = np.concatenate([part[0] for part in parts])
        named = [one for part in parts for one in part[1]]
        times = np.concatenate((reports["host_s"], [at for at, _ in named]))
        order = np.argsort(times, kind="stable")
        stamps, heard = self._arrival(times[order], rng)
        back = np.empty(len(order), dtype=np.int64)
        back[order] = np.arange(len(order))
        n = len(reports)
        reports["host_s"] = stamps[back[:n]]
        told = [(float(stamps[back[n + i]]), one[1]) for i, one in enumerate(named) if heard[back[n + i]]]
        return reports[heard[back[:n]]], told

    def _arrival(self, times: Floats, rng: np.random.Generator) -> tuple[Floats, Bools]:
        stamps = times + _LINE_S + rng.exponential(0.002, len(times))
        return np.maximum.accumulate(stamps), ~_within(times, self.mishaps.silences)

    def _starts(self, sprayer: Sprayer) -> Iterator[_Start]:
        begin, boot, kept = 0.0, self.boot, self.first_counts
        for restart in [*self.mishaps.restarts, Restart(float(sprayer.t[-1]), 0.0)]:
            start = _Start(self, sprayer, begin, restart.at_s, boot, kept, first=begin == 0.0)
            yield start
            kept = start.unsent() if restart.keeps else (0, 0)
            begin, boot = restart.at_s + restart.down_s, (boot + 1) % 256


class _Start:
    """The board between two starts."""

    def __init__(
        self, board: Board, sprayer: Sprayer, begin: float, end: float, boot: int, kept: tuple[int, int], *, first: bool
    ) -> None:
        self.board, self.sprayer, self.boot, self.kept = board, sprayer, boot, kept
        self.begin, self.end = begin, end
        self.offset_us = board.first_clock_us if first else 0
        mishaps = board.mishaps
        self.flow, self.flow_lost = _counted(sprayer.flow_pulse_s, mishaps.flow_dropped, begin, end)
        self.wheel, self.wheel_lost = _counted(sprayer.wheel_pulse_s, mishaps.wheel_dropped, begin, end)

    def clock_us(self, at: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
        """The board's clock at times of the computer."""
        return np.floor((at - self.begin) * 1e6 * (1 + self.board.clock_fast)).astype(np.int64) + self.offset_us

    def unsent(self) -> tuple[int, int]:
        """Pulses above the counts of the last report that left whole."""
        last = self.frames()[0]["host_s"][-1]
        return int(np.sum(self.flow > last)), int(np.sum(self.wheel > last))

    def frames(self) -> tuple[Reports, list[tuple[float, Identity]]]:
        """The reports that leave, `host_s` being when they were made, and identities likewise."""
        board, capable = self.board, self.board.who.capabilities
        interval = board.who.interval_ms / 1000 / (1 + board.clock_fast)
        times = np.arange(1, int((self.end - self.begin) / interval) + 1) * interval + self.begin
        stalled = _within(times, board.mishaps.stalls)
        lost = np.searchsorted(np.sort(np.concatenate((self.flow_lost, self.wheel_lost))), times)
        glitch = np.diff(np.searchsorted(np.array(board.mishaps.glitch_s), times), prepend=0) > 0
        switch = (np.interp(times, self.sprayer.t, self.sprayer.switch) > 0.5) & bool(capable & 0x08)
        out = np.zeros(len(times), dtype=FRAME_DTYPE)
        out["host_s"], out["boot"], out["seq"] = times, self.boot, np.arange(len(times)) % 2**16
        out["clock"] = self.clock_us(times) % 2**32
        for bit, name, pulses, kept in ((1, "flow", self.flow, self.kept[0]), (2, "wheel", self.wheel, self.kept[1])):
            if capable & bit:
                out[f"{name}_count"], out[f"{name}_edge"] = self._count(pulses, times, kept)
        if capable & 0x04:
            out["pressure_mean"], out["pressure_min"], out["pressure_max"] = self._readings(times)
        out["flags"] = np.where(switch, _SPRAY, 0) | np.where(glitch, 0x02, 0)
        out["edges_dropped"], out["lines_dropped"] = lost % 256, np.cumsum(stalled) % 256
        minutes = np.flatnonzero(np.diff(times // 60, prepend=times[:1] // 60) > 0)
        named = [(self.begin, self._identity()), *((float(times[i]) - 0.01, self._identity()) for i in minutes)]
        return out[~stalled], named if board.says_who else []

    def lines(self) -> list[tuple[float, bytes]]:
        """The same as lines, in order."""
        frames, named = self.frames()
        lines = [(at, identity(self.boot, self.board.who)) for at, _ in named]
        for row in frames.tolist():
            at, boot, seq, clock, *counts, mean, least, greatest, flags, edges, unsent = row
            flow, wheel = tuple(counts[:2]), tuple(counts[2:])
            pressure, dropped = (mean, least, greatest), (edges, unsent)
            lines.append((at, report(boot, seq, clock, flow, wheel, pressure, flags, dropped)))
        return sorted(lines, key=lambda one: one[0])

    def _identity(self) -> Identity:
        who = self.board.who
        return Identity(
            self.boot,
            who.protocol,
            who.name,
            who.firmware,
            who.full_scale,
            who.interval_ms,
            who.capabilities,
            who.cause,
        )

    def _count(self, pulse_s: Floats, times: Floats, kept: int) -> tuple[Ints, Ints]:
        """Count and edge time at each report. What was counted before a recording began has an edge time of its own."""
        number = np.searchsorted(pulse_s, times, side="right")
        before = self.offset_us - 1 if self.offset_us and kept else 0
        edge = np.concatenate(([before], self.clock_us(pulse_s)))[number]
        wrapped = edge % 2**32
        return (number + kept) % 2**32, np.where((wrapped == 0) & (edge > 0), 1, wrapped)

    def _readings(self, times: Floats) -> tuple[Ints, Ints, Ints]:
        """Mean in sixteenths, least and greatest of the converter readings since the report before."""
        reading = self.sprayer.reading.astype(np.int64)
        ends = np.minimum(np.searchsorted(self.sprayer.t, times), len(reading) - 1)
        begins = np.concatenate(([min(int(np.searchsorted(self.sprayer.t, self.begin)), ends[0])], ends[:-1]))
        begins = np.minimum(begins, ends - 1)
        index = np.stack((begins, ends), axis=1).ravel()
        total = np.add.reduceat(reading, index)[::2]
        mean = total * 16 // (ends - begins)
        return mean, np.minimum.reduceat(reading, index)[::2], np.maximum.reduceat(reading, index)[::2]


def _counted(
    pulse_s: npt.NDArray[np.float64], dropped: tuple[int, ...], begin: float, end: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    lost = np.isin(np.arange(len(pulse_s)), dropped)
    now = (pulse_s > begin) & (pulse_s <= end)
    return pulse_s[now & ~lost], pulse_s[now & lost]


def _within(times: npt.NDArray[np.float64], spans: tuple[tuple[float, float], ...]) -> npt.NDArray[np.bool_]:
    inside = np.zeros(len(times), dtype=np.bool_)
    for begin, end in spans:
        inside |= (times >= begin) & (times < end)
    return inside
