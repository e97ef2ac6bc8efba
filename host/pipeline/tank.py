"""What is left in the tank."""

from __future__ import annotations

import numpy as np

from host.events import number_of
from host.frames import Event
from host.pipeline.columns import Floats

_DOUBT = 0.05  # of what went through the meter: further below zero than meter and tank marks can be wrong together


def refill_not_told(left_m3: float, metered_m3: float) -> bool:
    """Whether more has gone through the meter than the tank can have held: a refill has not been told."""
    return left_m3 < lowest_level(metered_m3)


def lowest_level(metered_m3: float) -> float:
    """The lowest level (m³) that a count can come to by the errors of meter and tank marks alone, below zero."""
    return -_DOUBT * metered_m3


def overfilled(over_m3: float, capacity_m3: float) -> bool:
    """Whether more was filled in than the tank can have held, by more than meter and tank marks can be wrong."""
    return over_m3 > _DOUBT * capacity_m3


class TankLevel:
    """Level = what was last filled in - what the meter has counted since; at most the full tank where it is filled.

    `over_m3` is how much more was said to be filled in than there was room for, since a level was last known.

    The run starts with a full tank unless its `run_start` event says `tank_m3`; a `refill` says `to_m3` (level
    after it), `added_m3`, or nothing (full); `undo` takes the last refill back. A volume that is not a
    number is read as "full": a run must stay readable.
    """

    def __init__(self, capacity_m3: float) -> None:
        self._capacity_m3 = capacity_m3
        self._filled_m3 = capacity_m3  # level + volume counted so far: steps at each refill
        self._volume_m3 = self.over_m3 = 0.0
        # What was filled in before each refill that still holds, and what of it was too much.
        self._before: list[tuple[float, float]] = []

    def push(self, volume_m3: Floats, events: list[Event]) -> Floats:
        """Level after each frame, shape (n,); below zero the meter has counted more than was filled in."""
        filled = np.full(len(volume_m3), self._filled_m3)
        for event in events:
            place = event.before_frame
            if event.kind == "undo" and event.detail.get("of") == "refill" and self._before:
                self._filled_m3, self.over_m3 = self._before.pop()
            elif event.kind in ("refill", "run_start"):
                before = float(volume_m3[place - 1]) if place else self._volume_m3
                self._before += [(self._filled_m3, self.over_m3)] if event.kind == "refill" else []
                self._fill(event, before)
            else:
                continue
            filled[place:] = self._filled_m3
        if len(volume_m3):
            self._volume_m3 = float(volume_m3[-1])
        return np.asarray(filled - volume_m3)

    def _fill(self, event: Event, volume_m3: float) -> None:
        added = number_of(event, "added_m3") if event.kind == "refill" else None
        level = number_of(event, "to_m3" if event.kind == "refill" else "tank_m3")
        if event.kind == "run_start" and level is not None:  # no refill, and nothing to balance a reading with
            level = min(level, self._capacity_m3)
        if added is not None:
            filled_m3 = self._filled_m3 + added
        else:
            filled_m3, self.over_m3 = volume_m3 + (self._capacity_m3 if level is None else level), 0.0
        over_m3 = filled_m3 - volume_m3 - self._capacity_m3
        self._filled_m3 = volume_m3 + self._capacity_m3 if over_m3 > 0 else filled_m3
        self.over_m3 += over_m3 if over_m3 > 0 else 0.0
