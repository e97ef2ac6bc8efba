"""Guided calibration: what to do next, what is counted meanwhile, one step back. For a page or a terminal alike.

The guide knows no port and no screen. Whoever runs it hands it every report of the board (`watch`) and shows `say()`
and `live()`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from firmware_protocol.messages import MEAN_STEPS, Report
from host.calibrate.vessels import Vessel
from host.errors import UserError
from host.frames import counter_difference

CAUTIONS = (
    "Use clean water only, and wear gloves: residues stay in tank, hoses and strainers.",
    "Stop the pump and let the pressure off before you open a nozzle, hose or strainer.",
    "Keep battery and plugs dry; do not stand in the spray.",
)

Step = Literal["ready", "running", "amount"]

_SAY: dict[tuple[str, Step], str] = {
    ("flow", "ready"): "Put an empty vessel under the outlet, everything closed and still. Begin, then open the flow.",
    (
        "flow",
        "running",
    ): "Close the flow when the vessel is well filled and wait until the count stands still. Then end.",
    ("flow", "amount"): "Read the vessel on level ground, or weigh it, and enter how much was caught.",
    ("wheel", "ready"): "Stand with the wheel on the mark at the start of the course. Begin, then walk it straight.",
    ("wheel", "running"): "Stop with the wheel on the mark at the end of the course. Then end.",
    ("wheel", "amount"): "Was the course held from mark to mark? Then enter it.",
    ("pressure", "ready"): "Hold one pressure steady (the first time: pump off, boom open). Begin.",
    ("pressure", "running"): "Read the gauge while it is still; two seconds are enough. Then end.",
    ("pressure", "amount"): "Enter what the gauge showed, zero for the pump off.",
}
_SAY_AGAIN = {
    "flow": "Empty the vessel and put it back, everything still: three catches at each of two flows are best. Begin.",
    "wheel": "Back to the mark at the start for another pass: three tell how much the wheel slips. Begin.",
    "pressure": "Hold the next pressure steady, up to the highest that you spray at. Begin.",
}


@dataclass(frozen=True)
class Live:
    """What is counted so far: pulses and their mean frequency, or mean counts of the transducer."""

    pulses: int
    frequency_hz: float | None
    mean_counts: float | None


@dataclass(frozen=True)
class Taken:
    """One finished step: pulses over `duration_s` (None when too few to tell), mean counts, and the amount entered.

    `vessel` is what a caught amount was measured with, where that was said.
    """

    pulses: int
    duration_s: float | None
    mean_counts: float | None
    amount: float
    vessel: Vessel | None = None


class Guide:
    """Takes catches, passes or pressures one after the other. `what` is "flow", "wheel" or "pressure".

    begin -> (reports come) -> end -> enter(amount), and again; `undo` goes one step back. Raises UserError when a step
    cannot be taken now.
    """

    def __init__(self, what: Literal["flow", "wheel", "pressure"]) -> None:
        self.what = what
        self.step: Step = "ready"
        self.taken: list[Taken] = []
        self._latest: Report | None = None
        self._start: Report | None = None
        self._last: Report | None = None
        self._first_turn: Report | None = None
        self._counts: list[float] = []

    def say(self) -> str:
        """What to do next."""
        again = self.step == "ready" and self.taken
        return _SAY_AGAIN[self.what] if again else _SAY[self.what, self.step]

    def watch(self, report: Report) -> None:
        """Take a report of the board, as each one comes.

        Raises UserError, and drops the catch that was running, when the board has restarted in the middle of it.
        """
        self._latest = report
        if self.step != "running" or self._start is None:
            return
        if report.boot != self._start.boot:
            self.step = "ready"
            raise UserError("the board restarted in the middle, so its counts do not go on: begin this one again.")
        self._last = report
        self._counts.append(report.pressure_mean / MEAN_STEPS)
        if self._first_turn is None and self._pulses(self._start, report):
            self._first_turn = report

    def begin(self) -> None:
        """Start counting from here."""
        if self.step != "ready":
            raise UserError("one is already begun: end it first, or undo.")
        if self._latest is None:
            raise UserError("no report of the board has come yet: wait until it sends, or check the port.")
        self._start = self._last = self._latest
        self._first_turn, self._counts = None, []
        self.step = "running"

    def live(self) -> Live:
        """What has been counted since it began."""
        if self._start is None or self._last is None:
            return Live(0, None, None)
        pulses, seconds = self._pulses(self._start, self._last), self._duration()
        mean = math.fsum(self._counts) / len(self._counts) if self._counts else None
        return Live(pulses, pulses / seconds if seconds else None, mean)

    def end(self) -> None:
        """Stop counting; the amount comes next."""
        if self.step != "running":
            raise UserError("nothing is running: begin first.")
        if self.what == "pressure" and not self._counts:
            raise UserError("no report of the board has come since it began: wait a moment, then end.")
        if self.what != "pressure" and not self.live().pulses:
            raise UserError("nothing was counted: check the sensor and its wiring, or undo.")
        self.step = "amount"

    def enter(self, amount: float, vessel: Vessel | None = None) -> Taken:
        """The amount that belongs to what was counted, in SI: volume (with its vessel), length or pressure."""
        if self.step != "amount":
            raise UserError("nothing waits for an amount: begin and end first.")
        if not math.isfinite(amount) or amount < 0 or (amount == 0 and self.what != "pressure"):
            raise UserError("the amount must be above zero: enter it again.")
        live = self.live()
        self.taken.append(Taken(live.pulses, self._duration(), live.mean_counts, amount, vessel))
        self.step = "ready"
        return self.taken[-1]

    def undo(self, number: int | None = None) -> str:
        """Drop what is running; else the last one taken, or number `number` (from 1). Says what was dropped."""
        if self.step != "ready":
            self.step = "ready"
            return "The one that was running is dropped."
        return drop(self.taken, number)

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
        span = counter_difference(getattr(last, edge), getattr(first, edge)) * 1e-6
        return span * self._pulses(start, last) / counted if span else None


def drop(taken: list[Any], number: int | None) -> str:
    """Take the last one, or number `number` (from 1), out of the list; what was dropped. Raises UserError."""
    if not taken:
        raise UserError("there is nothing to undo.")
    if number is not None and not 1 <= number <= len(taken):
        raise UserError(f"there is no number {number}: give one from 1 to {len(taken)}.")
    taken.pop(-1 if number is None else number - 1)
    return f"{'The last one' if number is None else f'Number {number}'} is dropped; {len(taken)} left."
