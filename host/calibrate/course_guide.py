"""A timed course, pass by pass with a stopwatch: what to do next, the time meanwhile, one step back."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

from host.calibrate.guide import drop
from host.calibrate.uncertainty import sample_deviation
from host.errors import UserError

CAUTIONS = (
    "Walk with clean water in the tank, half full, as you walk when you spray; nothing needs to be sprayed.",
    "Wear gloves where hoses drip, and look where you walk, not at the screen.",
)


class CourseGuide:
    """Times passes over one course of `distance_m`. `clock` gives seconds that never jump.

    begin -> end, and again; `undo` goes one step back. Raises UserError when a step cannot be taken now.
    """

    def __init__(self, distance_m: float, clock: Callable[[], float]) -> None:
        if not (distance_m > 0 and math.isfinite(distance_m)):
            raise UserError("the course has no length above zero: measure it and give its length.")
        self.distance_m = distance_m
        self.step: Literal["ready", "running"] = "ready"
        self.times_s: list[float] = []
        self._clock = clock
        self._began = 0.0

    def say(self) -> str:
        """What to do next."""
        if self.step == "running":
            return "Walk at spraying pace; end as you pass the mark at the end of the course."
        if not self.times_s:
            return "Walk up to the course at spraying pace; begin as you pass the mark at its start."
        if len(self.times_s) < 3:
            return f"Turn round for pass {len(self.times_s) + 1}: three passes tell how even your pace is."
        return "Finish, or time one more pass."

    def seconds(self) -> float:
        """How long the pass that is running has taken."""
        return self._clock() - self._began if self.step == "running" else 0.0

    def spread(self) -> float | None:
        """Standard deviation of the passes about their mean, as a fraction; None before the second."""
        if len(self.times_s) < 2:
            return None
        return sample_deviation(self.times_s) / (math.fsum(self.times_s) / len(self.times_s))

    def begin(self) -> None:
        """Start the stopwatch."""
        if self.step != "ready":
            raise UserError("a pass is already begun: end it first, or undo.")
        self._began = self._clock()
        self.step = "running"

    def end(self) -> float:
        """Stop it: the time of the pass (s)."""
        if self.step != "running":
            raise UserError("no pass is running: begin first.")
        time = self.seconds()
        if time < 1.0:
            raise UserError("that was less than a second: go on, and end at the mark at the end of the course.")
        self.times_s.append(time)
        self.step = "ready"
        return time

    def undo(self, number: int | None = None) -> str:
        """Drop the pass that is running, or the last one, or pass `number`. Says what was dropped."""
        if self.step == "running":
            self.step = "ready"
            return "The pass that was running is dropped."
        return drop(self.times_s, number)
