"""The board: counts the sprayer's pulses and says them in lines, with all that may befall a board and its cable."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tests.independent_board.lines import Who, identity, report
from tests.independent_board.sprayer import Sprayer

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
        out: list[tuple[float, bytes]] = []
        begin, boot, kept = 0.0, self.boot, self.first_counts
        for restart in [*self.mishaps.restarts, Restart(float(sprayer.t[-1]), 0.0)]:
            start = _Start(self, sprayer, begin, restart.at_s, boot, kept, first=begin == 0.0)
            made = start.lines()
            out += made
            kept = start.unsent(made[-1][0] if made else begin) if restart.keeps else (0, 0)
            begin, boot = restart.at_s + restart.down_s, (boot + 1) % 256
        stamps = np.array([at for at, _ in out]) + _LINE_S + rng.exponential(0.002, len(out))
        heard = ~_within(np.array([at for at, _ in out]), self.mishaps.silences)
        arrived = zip(np.maximum.accumulate(stamps).tolist(), out, heard.tolist(), strict=True)
        return [(stamp, line) for stamp, (_, line), is_heard in arrived if is_heard]


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

    def unsent(self, last_report_s: float) -> tuple[int, int]:
        """Pulses above the counts of the last report that left whole."""
        return int(np.sum(self.flow > last_report_s)), int(np.sum(self.wheel > last_report_s))

    def lines(self) -> list[tuple[float, bytes]]:
        board, mishaps = self.board, self.board.mishaps
        interval = board.who.interval_ms / 1000 / (1 + board.clock_fast)
        times = np.arange(1, int((self.end - self.begin) / interval) + 1) * interval + self.begin
        stalled = _within(times, mishaps.stalls)
        flow = self._count(self.flow, times, self.kept[0], board.boot == self.boot)
        wheel = self._count(self.wheel, times, self.kept[1], board.boot == self.boot)
        lost = np.searchsorted(np.sort(np.concatenate((self.flow_lost, self.wheel_lost))), times)
        readings = self._readings(times)
        switch = np.interp(times, self.sprayer.t, self.sprayer.switch) > 0.5
        glitch = np.diff(np.searchsorted(np.array(mishaps.glitch_s), times), prepend=0) > 0
        clock = self.clock_us(times)
        capable = board.who.capabilities
        out = [(self.begin, identity(self.boot, board.who))] if board.says_who else []
        for i in np.flatnonzero(~stalled).tolist():
            if board.says_who and i and int(times[i] / 60) > int(times[i - 1] / 60):
                out.append((float(times[i]) - 0.01, identity(self.boot, board.who)))
            flags = (_SPRAY if switch[i] and capable & 0x08 else 0) | (0x02 if glitch[i] else 0)
            out.append(
                (
                    float(times[i]),
                    report(
                        self.boot,
                        i,
                        int(clock[i]),
                        flow[i] if capable & 0x01 else (0, 0),
                        wheel[i] if capable & 0x02 else (0, 0),
                        readings[i] if capable & 0x04 else (0, 0, 0),
                        flags,
                        (int(lost[i]), int(np.sum(stalled[:i]))),
                    ),
                )
            )
        return out

    def _count(
        self, pulse_s: npt.NDArray[np.float64], times: npt.NDArray[np.float64], kept: int, first: bool
    ) -> list[tuple[int, int]]:
        """Count and edge time at each report. What was counted before a recording began has an edge time of its own."""
        number = np.searchsorted(pulse_s, times, side="right")
        edges = self.clock_us(pulse_s)
        before = self.offset_us - 1 if first and self.offset_us and kept else 0
        edge = [int(edges[n - 1]) if n else before for n in number.tolist()]
        wrapped = [(e % 2**32) or (1 if e else 0) for e in edge]
        return list(zip((number + kept).tolist(), wrapped, strict=True))

    def _readings(self, times: npt.NDArray[np.float64]) -> list[tuple[int, int, int]]:
        """Mean in sixteenths, least and greatest of the converter readings since the report before."""
        ends = np.searchsorted(self.sprayer.t, times)
        out = []
        last = int(np.searchsorted(self.sprayer.t, self.begin))
        for end in ends.tolist():
            frame = self.sprayer.reading[last : max(end, last + 1)]
            out.append((int(frame.sum() * 16 // len(frame)), int(frame.min()), int(frame.max())))
            last = max(end, last)
            last = min(last, len(self.sprayer.reading) - 1)
        return out


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
