"""Guided catch test of the boom: nozzle after nozzle at one pressure, timed here, then at another pressure.

The guide knows no port and no screen, as `host.calibrate.guide`. With a board it takes the pressure from the reports;
without one, or where its transducer is not believed, the gauge is read once for each pressure.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from firmware_protocol.messages import MEAN_STEPS, Report
from host.calibrate.amounts import Amount, one_vessel
from host.calibrate.boom import BoomCatch
from host.errors import UserError
from host.frames import counter_difference
from host.rig import PressureSensor

Step = Literal["pressure", "ready", "running", "amount"]
SHORT_S = 20.0  # below this, 0.2 s of starting and stopping by hand are more than 1 %
PRESSURE_MOVED = 0.05  # of the pressure from nozzle to nozzle: 2.5 % of flow, half of what flags a nozzle


@dataclass(frozen=True)
class NozzleCatch:
    """What one nozzle gave: amount, time (s), and the pressure (Pa) while it was caught, by gauge or board."""

    amount: Amount
    duration_s: float
    pressure_pa: float
    by_gauge: bool


@dataclass(frozen=True)
class BoomLive:
    """While it runs: seconds since it began, pressure (Pa) and pulses from the board, None without one."""

    seconds: float
    pressure_pa: float | None
    pulses: int | None


class BoomGuide:
    """Takes the boom through one pressure after another.

    pressure -> (begin -> end -> enter(amount)) for each nozzle -> pressure again, or finish with `catches()`. `undo`
    goes one step back. `rounds` has one list per pressure. Raises UserError when a step cannot be taken now.
    """

    def __init__(self, nozzles: int, clock: Callable[[], float], sensor: PressureSensor | None = None) -> None:
        self.nozzles = nozzles
        self.step: Step = "pressure"
        self.rounds: list[list[NozzleCatch]] = []
        self.adc_full_scale = 1023.0
        self._clock = clock
        self._sensor = sensor
        self._gauge_pa: float | None = None
        self._latest: Report | None = None
        self._first: Report | None = None
        self._counts: list[float] = []
        self._began = self._seconds = 0.0

    @property
    def nozzle(self) -> int:
        """The nozzle whose turn it is, from 1."""
        return len(self.rounds[-1]) + 1 if self.rounds and len(self.rounds[-1]) < self.nozzles else 1

    def say(self) -> str:
        """What to do next."""
        if self.step == "pressure":
            done = len(self.rounds)
            if not done:
                return "Spray clean water with all nozzles open, set one steady pressure, and read the gauge."
            more = "a second pressure proves gauge and nozzles" if done == 1 else "one more pressure if you like"
            return f"All {self.nozzles} nozzles are caught at {done} pressure{'s'[: done > 1]}: finish, or set {more}."
        if self.step == "ready":
            return f"Keep spraying; begin as you hold the vessel under nozzle {self.nozzle} of {self.nozzles}."
        if self.step == "running":
            return f"Catch all of nozzle {self.nozzle}; end as you take the vessel away, after half a minute or more."
        return f"Read the vessel on level ground, or weigh it, and enter what nozzle {self.nozzle} gave."

    def watch(self, report: Report) -> None:
        """Take a report of the board, as each one comes."""
        self._latest = report
        if self.step == "running":
            self._first = self._first or report
            self._counts.append(report.pressure_mean / MEAN_STEPS)

    def board_pressure(self) -> float | None:
        """The pressure (Pa) that the board reports now; None without a board, or when it cannot be believed."""
        if self._latest is None:
            return None
        return self._believed(self._latest.pressure_mean / MEAN_STEPS)

    def live(self) -> BoomLive:
        """What runs now."""
        seconds = self._clock() - self._began if self.step == "running" else self._seconds
        pulses = None
        if self._latest is not None and self._first is not None and self._latest.boot == self._first.boot:
            pulses = counter_difference(self._latest.flow_count, self._first.flow_count)
        return BoomLive(seconds, self.board_pressure(), pulses)

    def set_pressure(self, gauge_pa: float | None) -> None:
        """Go on to the nozzles at this pressure; None takes the board's for each catch."""
        if self.step != "pressure":
            raise UserError("the nozzles of this pressure are not all caught yet: catch them, or undo.")
        if gauge_pa is None and self.board_pressure() is None:
            raise UserError("no board tells the pressure: enter what the gauge shows.")
        if gauge_pa is not None and not (gauge_pa > 0 and math.isfinite(gauge_pa)):
            raise UserError("the pressure must be above zero while the nozzles spray: read the gauge again.")
        self._gauge_pa = gauge_pa
        self.rounds.append([])
        self.step = "ready"

    def begin(self) -> None:
        """Start the stopwatch for the nozzle whose turn it is."""
        if self.step != "ready":
            raise UserError("a catch cannot begin now: finish this step first, or undo.")
        self._began = self._clock()
        self._first, self._counts = None, []
        self.step = "running"

    def end(self) -> float:
        """Stop it: how long was caught (s)."""
        if self.step != "running":
            raise UserError("nothing is running: begin first.")
        seconds = self._clock() - self._began
        if seconds < 1.0:
            raise UserError("that was less than a second: go on catching, then end.")
        self._seconds = seconds
        self.step = "amount"
        return seconds

    def enter(self, amount: Amount) -> str:
        """What was caught. The sentence that confirms it, and what to look at. UserError also when it cannot be used.

        All nozzles of a test are caught in one vessel.
        """
        if self.step != "amount":
            raise UserError("nothing waits for an amount: begin and end first.")
        one_vessel([*(one.amount for caught in self.rounds for one in caught), amount])
        caught, number = self.rounds[-1], self.nozzle
        said = f"Nozzle {number} is taken."
        pressure = self._gauge_pa if self._gauge_pa is not None else self._mean_pressure()
        if pressure is None:
            if not caught:
                raise UserError("the board told no pressure while this was caught: undo twice and read the gauge.")
            pressure = caught[-1].pressure_pa
            said += " The board told no pressure for it: that of the nozzle before is taken."
        caught.append(NozzleCatch(amount, self._seconds, pressure, self._gauge_pa is not None))
        self.step = "pressure" if len(caught) == self.nozzles else "ready"
        if self._seconds < SHORT_S:
            said += f" It was caught for {self._seconds:.0f} s only: half a minute is timed better."
        moved = pressure / caught[0].pressure_pa - 1.0
        if abs(moved) > PRESSURE_MOVED:
            said += f" The pressure moved by {100 * moved:+.0f} % since nozzle 1: set it again, undo, and catch again."
        return said

    def restore(self, rounds: list[list[NozzleCatch]]) -> None:
        """Go on from what was taken before."""
        self.rounds = [list(one) for one in rounds if one]
        whole = not self.rounds or len(self.rounds[-1]) == self.nozzles
        self.step = "pressure" if whole else "ready"
        if not whole:
            self._as_before(self.rounds[-1][-1])

    def undo(self) -> str:
        """Go one step back: what is running, the last nozzle, or the pressure. Says what was dropped."""
        if self.step in ("running", "amount"):
            self.step = "ready"
            return f"The catch of nozzle {self.nozzle} is dropped: catch it again."
        if self.rounds and self.rounds[-1]:
            self._as_before(self.rounds[-1].pop())
            self.step = "ready"
            return f"Nozzle {self.nozzle} is dropped: catch it again."
        if self.rounds:
            self.rounds.pop()
            self.step = "pressure"
            return "The pressure is dropped: set it again."
        raise UserError("there is nothing to undo.")

    def check(self) -> None:
        """Whether it can be finished now. Raises UserError naming the nozzles that are missing."""
        if not self.rounds:
            raise UserError("nothing was caught yet: set a pressure and catch every nozzle.")
        if self.step in ("running", "amount"):
            raise UserError(f"nozzle {self.nozzle} is being caught: end and enter it, or undo.")
        if self.step == "ready":
            missing = list(range(self.nozzle, self.nozzles + 1))
            names = f"nozzle {missing[0]} is" if len(missing) == 1 else f"nozzles {missing[0]} to {missing[-1]} are"
            raise UserError(f"{names} missing at this pressure: catch the rest, or undo back to the pressure before.")

    def catches(self) -> list[BoomCatch]:
        """What was caught, for `catch_test`. Raises UserError as `check`."""
        self.check()
        return [_together(caught) for caught in self.rounds]

    def _as_before(self, one: NozzleCatch) -> None:
        self._gauge_pa = one.pressure_pa if one.by_gauge else None

    def _mean_pressure(self) -> float | None:
        pressure = self._believed(math.fsum(self._counts) / len(self._counts)) if self._counts else None
        return pressure if pressure is not None and pressure > 0 else None

    def _believed(self, counts: float) -> float | None:
        sensor = self._sensor
        if sensor is None or not sensor.open_below < counts / self.adc_full_scale < sensor.short_above:
            return None
        return float(sensor.pressure_pa(counts, self.adc_full_scale))


def _together(caught: list[NozzleCatch]) -> BoomCatch:
    count = len(caught)
    times = tuple(one.duration_s for one in caught)
    return BoomCatch(
        pressure_pa=math.fsum(one.pressure_pa for one in caught) / count,
        duration_s=math.fsum(times) / count,
        volumes_m3=tuple(one.amount.volume_m3 for one in caught),
        times_s=times,
    )
