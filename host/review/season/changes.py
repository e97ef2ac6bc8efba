"""What may have happened in a season: its cause, when it began and ended, and what it does to each series."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from host.pipeline.columns import Floats

NOZZLES, METER, ZERO, TANK = "nozzles", "meter", "transducer", "tank"
LONE_BOOM, LONE_TANK, WRONG_CARD = "lone run", "lone balance", "wrong card"
LONE = (LONE_BOOM, LONE_TANK, WRONG_CARD)  # of a single item
STRAINER, KNOB = "strainer", "knob, pump or battery"  # of the pressure
WHEEL = "wheel"
FILLING = (NOZZLES, STRAINER)  # what may come ever faster
OF_THEIR_OWN = (STRAINER, KNOB, WHEEL)  # looked for in a series that nothing else moves


@dataclass(frozen=True)
class Change:
    """From item `first` of the season on.

    `power` 0 comes at once, 1 evenly until item `last`, more ever faster; with `back` it is gone behind `last`.
    """

    cause: str
    first: int
    last: int
    power: float = 0
    back: bool = False

    @property
    def step(self) -> bool:
        """Whether it came at once and stayed."""
        return self.power == 0 and not self.back

    @property
    def lone(self) -> bool:
        """Whether it is that of a single item."""
        return self.cause in LONE


def shapes(changes: Sequence[Change], times: Floats) -> Floats:
    """Which share of each change is there at each item, (items, changes); `times` of the items rise."""
    first = np.array([change.first for change in changes], dtype=np.intp)
    last = np.array([change.last for change in changes], dtype=np.intp)
    power = np.array([change.power for change in changes])
    back = np.array([change.back for change in changes])
    item = np.arange(len(times))[:, None]
    span = np.maximum(times[last] - times[first], 1e-9)
    share = np.clip((times[:, None] - times[first]) / span, 0.0, 1.0)
    here = share**power  # 0⁰ is 1
    return np.asarray(here * (item >= first) * ~(back & (item > last)), dtype=np.float64)
