"""What the board says is fitted, held against what the rig needs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_protocol.messages import Capability
from host.frames import Event
from host.pipeline.columns import Bools
from host.rig import Rig


@dataclass(frozen=True)
class Fitted:
    """Per frame, shape (n,): what there is to go by."""

    by_switch: Bools
    no_wheel: Bools  # the ground cannot be measured
    pressure: Bools  # rig and board have a transducer


class Capabilities:
    """Goes by the rig until the board has said who it is, then by what both have."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._fitted = ~Capability(0)

    def push(self, n: int, events: list[Event]) -> Fitted:
        """For `n` frames, among which `events` lie."""
        by_switch, no_wheel, pressure = (np.full(n, now) for now in self._now())
        for event in events:
            if event.kind == "identity" and isinstance(event.detail.get("capabilities"), int):
                self._fitted = Capability(event.detail["capabilities"])
                for column, now in zip((by_switch, no_wheel, pressure), self._now(), strict=True):
                    column[event.before_frame :] = now
        return Fitted(by_switch, no_wheel, pressure)

    @property
    def no_wheel(self) -> bool:
        """Whether the rig has a wheel and the board, as it has said, no input for it."""
        return self._rig.wheel is not None and not self._has(Capability.WHEEL)

    def _now(self) -> tuple[bool, bool, bool]:
        switch = self._has(Capability.SWITCH) and self._rig.spray_switch
        return switch, self.no_wheel, self._has(Capability.PRESSURE) and self._rig.pressure is not None

    def _has(self, part: Capability) -> bool:
        return bool(self._fitted & part)
