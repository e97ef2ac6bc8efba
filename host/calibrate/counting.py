"""What the board counts between Start and Stop: pulses of the meter or the wheel, or the mean of the transducer.

It knows no port and no screen. Whoever runs it hands it every report of the board (`watch`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from firmware_protocol.messages import MEAN_STEPS, Report
from host.errors import NotNowError
from host.frames import counter_difference

What = Literal["flow", "wheel", "pressure"]


@dataclass(frozen=True)
class Count:
    """Pulses over `duration_s` (None when too few to tell), and mean counts of the transducer (None before any)."""

    pulses: int
    duration_s: float | None
    mean_counts: float | None

    @property
    def frequency_hz(self) -> float | None:
        """Mean pulse frequency."""
        return self.pulses / self.duration_s if self.duration_s else None


class Counting:
    """start -> (reports come) -> stop -> take, and again; `undo` drops what was started, `reopen` takes `take` back.

    Raises UserError when a step cannot be taken now.
    """

    def __init__(self, what: What) -> None:
        self.what = what
        self.step: Literal["ready", "running", "stopped"] = "ready"
        self._latest: Report | None = None
        self._start: Report | None = None
        self._last: Report | None = None
        self._first_turn: Report | None = None
        self._counts: list[float] = []
        self._reopened: Count | None = None

    def watch(self, report: Report) -> None:
        """Take a report of the board, as each one comes.

        Raises UserError, and drops what was running, when the board has restarted in the middle of it.
        """
        self._latest = report
        if self.step != "running" or self._start is None:
            return
        if report.boot != self._start.boot:
            self.step = "ready"
            raise NotNowError("the board restarted in the middle and its counts with it: start this one again.")
        self._last = report
        self._counts.append(report.pressure_mean / MEAN_STEPS)
        if self._first_turn is None and self._pulses(self._start, report):
            self._first_turn = report

    def start(self) -> None:
        """Count from here."""
        if self.step != "ready":
            raise NotNowError("one is in progress already: stop it, or undo.")
        if self._latest is None:
            raise NotNowError("no report of the board has come yet: wait until it sends, or check the port.")
        self._start = self._last = self._latest
        self._first_turn, self._counts, self._reopened = None, [], None
        self.step = "running"

    def stop(self) -> None:
        """Count no further."""
        if self.step != "running":
            raise NotNowError("nothing is running: start first.")
        if self.what == "pressure" and not self._counts:
            raise NotNowError("no report of the board has come since you started: wait a moment, then stop.")
        if self.what != "pressure" and not self.count().pulses:
            raise NotNowError("nothing was counted: check the sensor and its wiring, or undo.")
        self.step = "stopped"

    def count(self) -> Count:
        """What was counted since the start."""
        if self._reopened is not None:
            return self._reopened
        if self._start is None or self._last is None:
            return Count(0, None, None)
        mean = math.fsum(self._counts) / len(self._counts) if self._counts else None
        return Count(self._pulses(self._start, self._last), self._duration(), mean)

    def take(self) -> Count:
        """What was counted, once stopped; ready for the next."""
        if self.step != "stopped":
            raise NotNowError("start and stop first, then save what it was.")
        self.step = "ready"
        return self.count()

    def reopen(self, count: Count) -> None:
        """Back to where this had been counted and was not taken yet."""
        self.step, self._reopened = "stopped", count

    def undo(self) -> None:
        """Drop what was started."""
        self.step = "ready"

    def _pulses(self, start: Report, end: Report) -> int:
        if self.what == "wheel":
            return counter_difference(end.wheel_count, start.wheel_count)
        return counter_difference(end.flow_count, start.flow_count)

    def _duration(self) -> float | None:
        """From the first pulse to the last and one period more, so that pulses over it are the mean frequency (s)."""
        start, first, last = self._start, self._first_turn, self._last
        if start is None or first is None or last is None:
            return None
        counted = self._pulses(first, last)
        if not counted:
            return None
        edge = "wheel_edge" if self.what == "wheel" else "flow_edge"
        between = counter_difference(int(getattr(last, edge)), int(getattr(first, edge))) * 1e-6
        return between * self._pulses(start, last) / counted if between else None
