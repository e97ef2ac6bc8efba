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
    """Per frame, shape (n,): whether there is a switch to go by, and whether the ground can be measured."""

    by_switch: Bools
    no_wheel: Bools


class Capabilities:
    """Goes by the rig until the board has said who it is, then by what both have."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._fitted = ~Capability(0)

    def push(self, n: int, events: list[Event]) -> Fitted:
        """For `n` frames, among which `events` lie."""
        by_switch = np.full(n, self._has(Capability.SWITCH) and self._rig.spray_switch)
        no_wheel = np.full(n, self.no_wheel)
        for event in events:
            if event.kind == "identity" and isinstance(event.detail.get("capabilities"), int):
                self._fitted = Capability(event.detail["capabilities"])
                by_switch[event.before_frame :] = self._has(Capability.SWITCH) and self._rig.spray_switch
                no_wheel[event.before_frame :] = self.no_wheel
        return Fitted(by_switch, no_wheel)

    @property
    def no_wheel(self) -> bool:
        """Whether the rig has a wheel and the board, as it has said, no input for it."""
        return self._rig.wheel is not None and not self._has(Capability.WHEEL)

    def _has(self, part: Capability) -> bool:
        return bool(self._fitted & part)
