"""What can happen in a scenario: knob turns, a changed pace, and faults, each with its time course."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from host.errors import BadInputError
from host.pipeline.faults.causes import CAUSES
from host.schema import Anything, Choice, Place, Quantity, Table, Whole, key

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Kind:
    """One kind of disturbance: what its `amount` measures (None: nothing), and whether it is a fault to be found."""

    amount: str | None
    default: float | None
    is_fault: bool
    meaning: str


KINDS: dict[str, Kind] = {
    "knob": Kind("pressure", None, False, "the regulator is turned to this pressure, and stays there"),
    "pace": Kind("fraction", None, False, "the walker's pace times this"),
    "stand": Kind(None, None, False, "the walker stops; in a pass the spray stays on"),
    "clog": Kind("fraction", 1.0, True, "share of a nozzle's opening lost, in each of `nozzles` nozzles"),
    "wear": Kind("fraction", None, True, "growth of a nozzle's opening, in each of `nozzles` nozzles"),
    "lost_tip": Kind("fraction", 4.0, True, "growth of a nozzle's opening when its tip falls off"),
    "leak": Kind("fraction", None, True, "flow lost between meter and nozzles, as a share of the boom's opening"),
    "kink": Kind("fraction", None, True, "share of the boom's opening lost to a restriction past the sensors"),
    "strainer": Kind("fraction", None, True, "share of the pump's delivery lost at the suction side"),
    "regulator": Kind("fraction", None, True, "share of the set pressure lost"),
    "battery": Kind("fraction", None, True, "share of the battery's voltage lost"),
    "pump_off": Kind(None, None, True, "the pump stands still"),
    "air": Kind("fraction", 0.5, True, "how much of the flow the bubbles take away at their worst"),
    "bubble": Kind("fraction", 0.3, False, "as air, but the odd bubble of a healthy rig"),
    "valve_shut": Kind(None, None, True, "the boom valve is shut although the spray switch is on"),
    "meter_stuck": Kind(None, None, True, "the flow meter gives no pulses"),
    "meter_low": Kind("fraction", None, True, "share of the meter factor lost (the rotor drags)"),
    "meter_missing": Kind("fraction", None, True, "share of the flow pulses that do not arrive"),
    "meter_noise": Kind("frequency", None, True, "false flow pulses at this mean frequency"),
    "spike": Kind("frequency", 100.0, False, "as meter_noise, but the odd electrical spike of a healthy rig"),
    "transducer_open": Kind(None, None, True, "the transducer's signal wire is off: bottom of the ADC's range"),
    "transducer_short": Kind(None, None, True, "the signal wire touches the supply: top of the ADC's range"),
    "transducer_frozen": Kind(None, None, True, "the transducer repeats its last value"),
    "transducer_drift": Kind("pressure", None, True, "the transducer reads this much too high"),
    "wheel_stuck": Kind(None, None, True, "the wheel gives no pulses"),
    "wheel_slip": Kind("fraction", None, True, "share of the distance that the wheel does not turn"),
    "board_reset": Kind(None, None, True, "the board restarts; `lasts` is how long it is down"),
    "flow_dropped": Kind(
        "fraction", None, False, "share of the flow pulses that the board fails to count, and says so"
    ),
    "wheel_dropped": Kind("fraction", None, False, "the same for the wheel's"),
    "link_stall": Kind(None, None, True, "the board's output is blocked; what its buffer cannot hold is dropped"),
    "unplug": Kind(None, None, True, "the cable is pulled; the board keeps its power and goes on counting"),
    "line_loss": Kind("fraction", None, True, "share of the lines that never arrive"),
    "line_damage": Kind("fraction", None, True, "share of the lines in which a byte is changed"),
}

FOR_EVER = float("inf")
_NOZZLE_KINDS = ("clog", "wear", "lost_tip")
_MUST_END = ("stand", "board_reset", "link_stall", "unplug")
# What the fault watch should call it: a slip of the wheel it cannot see.
_CALLED = {disturbance: cause.name for cause in CAUSES.values() for disturbance in cause.disturbances}


def cause_of(kind: str) -> str:
    """The cause that a disturbance of this kind should be called by; empty when it is no fault or cannot be seen."""
    return _CALLED.get(kind, "")


@dataclass(frozen=True)
class Disturbance:
    """Something that begins `at_s` after the start, or `at_s` into pass `pass_number` when that is given.

    It grows to its full amount over `over_s` and ends `lasts_s` after its beginning.
    """

    kind: str = key(Choice(tuple(KINDS)), "what happens: see the table of kinds")
    at_s: float = key(
        Quantity("time", 0, 1e6), "time after the start of the run, or of the pass when `pass` is given", name="at"
    )
    pass_number: int | None = key(Whole(), "number of the pass in which it happens", name="pass", default=None)
    amount: float = key(Anything(), "how much: see the table of kinds", default=1.0)
    nozzles: int = key(Whole(), "how many nozzles (clog, wear, lost_tip); default 1", default=1)
    over_s: float = key(
        Quantity("time", 0, 1e6), "time in which it grows to its full amount; default at once", name="over", default=0.0
    )
    lasts_s: float = key(
        Quantity("time", 0.001, 1e6), "time after which it is over; default never", name="lasts", default=FOR_EVER
    )

    @property
    def end_s(self) -> float:
        """When it is over; only for a disturbance whose `at_s` counts from the start."""
        return self.at_s + self.lasts_s

    def strength(self, t: Floats) -> Floats:
        """How much of the disturbance is in force at the times `t` (s): 0 to 1."""
        begun = t >= self.at_s
        grown = np.clip((t - self.at_s) / self.over_s, 0.0, 1.0) if self.over_s > 0 else 1.0
        return np.where(begun & (t < self.end_s), grown, 0.0)


def _complete(values: dict[str, Any], place: Place) -> None:
    """What only the kind can say: whether an amount, nozzles or an end belong to it, and the amount's own kind."""
    name = values["kind"]
    kind = KINDS[name]
    for attribute, allowed in (("nozzles", name in _NOZZLE_KINDS), ("amount", kind.amount is not None)):
        if attribute in values and not allowed:
            raise BadInputError(f"{place.key(attribute)} has no meaning for '{name}': leave it out.")
    if name in _MUST_END and "lasts_s" not in values:
        raise BadInputError(f"{place.key('lasts')} is missing: '{name}' must end some time.")
    if kind.amount is None:
        return
    if "amount" in values:
        amount = Quantity(kind.amount, -math.inf, bare=kind.amount == "fraction")
        values["amount"] = amount.read(values["amount"], place.key("amount"))
    elif kind.default is None:
        raise BadInputError(f"{place.key('amount')} is missing: say how much.")
    else:
        values["amount"] = kind.default


DISTURBANCE = Table(Disturbance, complete=_complete)


class Disturbances:
    """The disturbances of a scenario in absolute time, asked for by kind and stretch of time."""

    def __init__(self, disturbances: tuple[Disturbance, ...]) -> None:
        self.all = tuple(sorted(disturbances, key=lambda disturbance: disturbance.at_s))
        self._of_kind: dict[str, list[Disturbance]] = {}
        for disturbance in self.all:
            self._of_kind.setdefault(disturbance.kind, []).append(disturbance)

    def during(self, begin_s: float, end_s: float, *kinds: str) -> list[Disturbance]:
        """Disturbances of these kinds that are in force at some time between the two."""
        named = (disturbance for kind in kinds for disturbance in self._of_kind.get(kind, ()))
        return [disturbance for disturbance in named if disturbance.at_s < end_s and disturbance.end_s > begin_s]

    def total(self, t: Floats, *kinds: str) -> Floats | float:
        """Sum of amount × strength over those of these kinds, at the times `t`; plain 0.0 when there are none."""
        found = self.during(float(t[0]), float(t[-1]) + 1e-9, *kinds)
        return sum((e.amount * e.strength(t) for e in found), 0.0)

    def active(self, t: Floats, *kinds: str) -> npt.NDArray[np.bool_] | None:
        """Where any disturbance of these kinds is in force; None when there is none in this stretch."""
        found = self.during(float(t[0]), float(t[-1]) + 1e-9, *kinds)
        return np.logical_or.reduce([e.strength(t) > 0 for e in found]) if found else None
