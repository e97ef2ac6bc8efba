"""What can be measured: what the board says is fitted, held against what the rig has. The one place that says so."""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields

import numpy as np

from firmware_protocol.messages import Capability
from host.frames import Event
from host.pipeline.columns import Bools
from host.rig import Rig


@dataclass(frozen=True)
class Inputs:
    """What rig and board can measure together."""

    meter: bool  # volume and flow
    switch: bool  # whether it sprays, without the flow
    wheel: bool
    way: bool  # distance and speed: by the wheel, or by a timed course while it is known to spray
    pressure: bool

    @property
    def ground(self) -> bool:
        """Volume and ground at the same time: without both there is no rate."""
        return self.meter and self.way

    def __or__(self, other: Inputs) -> Inputs:
        return Inputs(*(a or b for a, b in zip(astuple(self), astuple(other), strict=True)))


NOTHING = Inputs(False, False, False, False, False)


@dataclass(frozen=True)
class Fitted:
    """The same per frame, shape (n,) each."""

    meter: Bools
    switch: Bools
    wheel: Bools
    way: Bools
    pressure: Bools

    @property
    def ground(self) -> Bools:
        """Volume and ground at the same time."""
        return self.meter & self.way

    @property
    def any(self) -> Inputs:
        """What could be measured in at least one of the frames."""
        return Inputs(*(bool(getattr(self, one.name).any()) for one in fields(self)))


class Capabilities:
    """Goes by the rig until the board has said who it is, then by what both have."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._fitted = ~Capability(0)

    def push(self, n: int, events: list[Event]) -> Fitted:
        """For `n` frames, among which `events` lie."""
        columns = [np.full(n, now) for now in astuple(self.now)]
        for event in events:
            if event.kind == "identity" and isinstance(event.detail.get("capabilities"), int):
                self._fitted = Capability(event.detail["capabilities"])
                for column, now in zip(columns, astuple(self.now), strict=True):
                    column[event.before_frame :] = now
        return Fitted(*columns)

    @property
    def now(self) -> Inputs:
        """By the newest that the board has said."""
        rig = self._rig
        meter, switch = self._has(Capability.FLOW), rig.spray_switch and self._has(Capability.SWITCH)
        wheel = rig.wheel is not None and self._has(Capability.WHEEL)
        return Inputs(
            meter=meter,
            switch=switch,
            wheel=wheel,
            way=wheel if rig.wheel else meter or switch,
            pressure=rig.pressure is not None and self._has(Capability.PRESSURE),
        )

    def _has(self, part: Capability) -> bool:
        return bool(self._fitted & part)
