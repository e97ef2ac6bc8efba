"""The steps of a catch test: nozzle after nozzle at one pressure, timed here, then at another pressure.

It knows no port and no screen, as `host.calibrate.counting`. With a board it takes the pressure from the reports;
without one, or where its transducer cannot be trusted, the gauge is read once for each pressure.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from firmware_protocol.messages import MEAN_STEPS, Report
from host.calibrate.amounts import Amount, one_jug
from host.calibrate.boom import BoomCatch
from host.errors import BadInputError, NotNowError
from host.rig import PressureSensor

SHORT_S = 20.0  # below this, 0.2 s of starting and stopping by hand are more than 1 %
PRESSURE_MOVED = 0.05  # of the pressure from nozzle to nozzle: 2.5 % of flow, half of what flags a nozzle


@dataclass(frozen=True)
class NozzleCatch:
    """What one nozzle gave: amount, time (s), and the pressure (Pa) while it was caught, by gauge or board.

    `together`: all nozzles at this pressure were caught at once, so they share one time and its error.
    """

    amount: Amount
    duration_s: float
    pressure_pa: float
    by_gauge: bool
    together: bool = False


class NozzleCatches:
    """Takes the boom through one pressure after another.

    pressure -> (start -> stop -> take(amount)) for each nozzle -> pressure again, or finish with `catches()`. `undo`
    goes one step back. `rounds` has one list per pressure. Raises UserError when a step cannot be taken now.
    """

    def __init__(self, nozzles: int, clock: Callable[[], float], sensor: PressureSensor | None = None) -> None:
        self.nozzles = nozzles
        self.step: Literal["pressure", "ready", "running", "amount"] = "pressure"
        self.rounds: list[list[NozzleCatch]] = []
        self.adc_full_scale = 1023.0
        self._clock = clock
        self.sensor = sensor
        self._gauge_pa: float | None = None
        self._latest: Report | None = None
        self._counts: list[float] = []
        self._started = self._seconds = 0.0
        self._duration_s: float | None = None  # of a countdown
        self._reopened_pa: float | None = None  # the pressure of a catch whose amount is asked for again

    @property
    def nozzle(self) -> int:
        """The nozzle whose turn it is, from 1."""
        return len(self.rounds[-1]) + 1 if self.rounds and len(self.rounds[-1]) < self.nozzles else 1

    @property
    def seconds(self) -> float:
        """How long the catch in progress, or the last one, has taken."""
        return self._clock() - self._started if self.step == "running" else self._seconds

    @property
    def timed(self) -> tuple[float, float, float] | None:
        """Of a countdown in progress: a number of its own, seconds to its start, seconds to its end."""
        if self.step != "running" or self._duration_s is None:
            return None
        return self._started, -self.seconds, self._duration_s - self.seconds

    def tick(self) -> None:
        """End a countdown whose time is over."""
        if self.timed is not None and self._duration_s is not None and self.seconds >= self._duration_s:
            self._seconds = self._duration_s
            self.step = "amount"

    def watch(self, report: Report) -> None:
        """Take a report of the board, as each one comes."""
        self._latest = report
        self.tick()
        if self.step == "running" and self.seconds >= 0.0:
            self._counts.append(report.pressure_mean / MEAN_STEPS)

    def board_pressure(self) -> float | None:
        """The pressure (Pa) that the board reports now; None without a board, or outside what its transducer gives."""
        if self._latest is None:
            return None
        return self._trusted(self._latest.pressure_mean / MEAN_STEPS)

    def set_pressure(self, gauge_pa: float | None) -> None:
        """Go on to the nozzles at this pressure; None takes the board's for each catch."""
        if self.step != "pressure":
            raise NotNowError("the nozzles of this pressure are not all caught yet: catch them, or undo.")
        if gauge_pa is None and self.board_pressure() is None:
            raise NotNowError("there is no pressure from a board: enter what the gauge shows.")
        if gauge_pa is not None and not (gauge_pa > 0 and math.isfinite(gauge_pa)):
            raise BadInputError("the pressure must be above zero while the nozzles spray: read the gauge again.")
        self._gauge_pa = gauge_pa
        self.rounds.append([])
        self.step = "ready"

    def start(self, lead_s: float = 0.0, duration_s: float | None = None) -> None:
        """Start the stopwatch for the nozzle whose turn it is, or a countdown of `duration_s` after `lead_s`."""
        if self.step != "ready":
            raise NotNowError("a catch cannot start now: finish this step first, or undo.")
        self._started, self._duration_s = self._clock() + lead_s, duration_s
        self._counts, self._reopened_pa = [], None
        self.step = "running"

    def stop(self) -> float:
        """Stop it: how long was caught (s)."""
        if self.step != "running":
            raise NotNowError("nothing is running: start first.")
        seconds = self._clock() - self._started
        if seconds < 1.0:
            raise NotNowError("that was less than a second: go on catching, then stop.")
        self._seconds = seconds
        self.step = "amount"
        return seconds

    def take(self, amount: Amount) -> str:
        """What was caught. The message that confirms it, with what to look at. UserError also when it cannot be used.

        All nozzles of a test are caught in one jug.
        """
        if self.step != "amount":
            raise NotNowError("start and stop a catch before you enter an amount.")
        one_jug([*(catch.amount for caught in self.rounds for catch in caught), amount])
        caught, number = self.rounds[-1], self.nozzle
        message = f"Nozzle {number} done."
        pressure = self._gauge_pa if self._gauge_pa is not None else self._reopened_pa or self._mean_pressure()
        if pressure is None:
            if not caught:
                raise NotNowError("the board gave no pressure during this catch: undo twice and read the gauge.")
            pressure = caught[-1].pressure_pa
            message += " The board gave no pressure for it, so that of the nozzle before is used."
        caught.append(NozzleCatch(amount, self._seconds, pressure, self._gauge_pa is not None))
        self.step = "pressure" if len(caught) == self.nozzles else "ready"
        if self._seconds < SHORT_S:
            message += f" It was caught for only {self._seconds:.0f} s: half a minute is timed better."
        moved = pressure / caught[0].pressure_pa - 1.0
        if abs(moved) > PRESSURE_MOVED:
            message += f" The pressure moved by {100 * moved:+.0f} % since nozzle 1: set it again, undo, catch again."
        return message

    def take_all(self, caught: list[NozzleCatch]) -> None:
        """Every nozzle at one pressure, caught elsewhere."""
        if self.step != "pressure":
            raise NotNowError(
                "a catch test nozzle by nozzle is not finished: finish it or undo it, then enter this one."
            )
        self.rounds.append(caught)

    def restore(self, rounds: list[list[NozzleCatch]]) -> None:
        """Resume from what was caught before. Raises UserError when that was another boom."""
        if any(len(caught) > self.nozzles for caught in rounds) or any(len(one) < self.nozzles for one in rounds[:-1]):
            raise BadInputError(f"the draft is of a boom that does not have {self.nozzles} nozzles: start over")
        self.rounds = [list(caught) for caught in rounds if caught]
        whole = not self.rounds or len(self.rounds[-1]) == self.nozzles
        self.step = "pressure" if whole else "ready"
        if not whole:
            self._as_before(self.rounds[-1][-1])

    def undo(self) -> str:
        """Go one step back: what is running, the last amount, the pressure, or all that was entered at once for it.

        Says what was dropped. What was caught stays when its amount is taken back: it is not caught again.
        """
        if self.step in ("running", "amount"):
            self.step = "ready"
            return f"The catch of nozzle {self.nozzle} is dropped: catch it again."
        if self.rounds and self.rounds[-1] and self.rounds[-1][-1].together:
            self.rounds.pop()
            self.step = "pressure"
            return "All nozzles of this pressure are dropped: enter them again."
        if self.rounds and self.rounds[-1]:
            last = self.rounds[-1].pop()
            self._as_before(last)
            self._seconds, self._reopened_pa = last.duration_s, last.pressure_pa
            self.step = "amount"
            return f"Nozzle {self.nozzle}: enter its amount again, or undo once more to catch it again."
        if self.rounds:
            self.rounds.pop()
            self.step = "pressure"
            return "The pressure is dropped: set it again."
        raise NotNowError("there is nothing to undo.")

    def check(self) -> None:
        """Whether it can be finished now. Raises UserError naming the nozzles that are missing."""
        if not self.rounds:
            raise NotNowError("nothing was caught yet: set a pressure and catch every nozzle.")
        if self.step in ("running", "amount"):
            raise NotNowError(f"a catch of nozzle {self.nozzle} is in progress: stop and save it, or undo.")
        if self.step == "ready":
            missing = list(range(self.nozzle, self.nozzles + 1))
            names = f"nozzle {missing[0]} is" if len(missing) == 1 else f"nozzles {missing[0]} to {missing[-1]} are"
            raise NotNowError(f"{names} missing at this pressure: catch the rest, or undo back to the pressure before.")

    @property
    def whole_rounds(self) -> list[list[NozzleCatch]]:
        """Those of the pressures at which every nozzle was caught."""
        return [caught for caught in self.rounds if len(caught) == self.nozzles]

    def _as_before(self, catch: NozzleCatch) -> None:
        self._gauge_pa = catch.pressure_pa if catch.by_gauge else None

    def _mean_pressure(self) -> float | None:
        pressure = self._trusted(math.fsum(self._counts) / len(self._counts)) if self._counts else None
        return pressure if pressure is not None and pressure > 0 else None

    def _trusted(self, counts: float) -> float | None:
        sensor = self.sensor
        if sensor is None or not sensor.open_below < counts / self.adc_full_scale < sensor.short_above:
            return None
        return float(sensor.pressure_pa(counts, self.adc_full_scale))


def boom_catch(caught: list[NozzleCatch]) -> BoomCatch:
    """All nozzles at one pressure, for `catch_test`."""
    count = len(caught)
    times = tuple(catch.duration_s for catch in caught)
    pressures = tuple(catch.pressure_pa for catch in caught)
    by_gauge = any(catch.by_gauge for catch in caught)
    return BoomCatch(
        pressure_pa=math.fsum(pressures) / count,
        duration_s=math.fsum(times) / count,
        volumes_m3=tuple(catch.amount.volume_m3 for catch in caught),
        times_s=None if caught[0].together else times,
        pressures_pa=None if caught[0].together or by_gauge else pressures,
    )
