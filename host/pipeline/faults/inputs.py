"""What the fault watch is shown, frame by frame."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from firmware_protocol.messages import Flag
from host.frames import Frames
from host.pipeline.columns import Bools, Floats
from host.pipeline.counts import Counts
from host.pipeline.fitted import Fitted
from host.pipeline.pressure import Pressures
from host.pipeline.pulses import Pulsing


@dataclass(frozen=True)
class Scene:
    """Arrays of shape (n,) out of the stages before."""

    frames: Frames
    host_s: Floats
    counts: Counts
    flow: Pulsing
    per_m3: Floats
    pressure: Pressures
    spraying: Bools
    wheel_silent: Bools  # during spraying: it stands, or the sensor has failed
    wheel_doubted: Bools  # for longer than anybody stands
    area_m2: Floats  # not a number where no ground is known
    tank_left_m3: Floats
    refused: Bools  # flow pulses came too fast for the filter of their input, and some were refused
    fitted: Fitted  # what can be measured: no fault is built on anything else

    @property
    def switch(self) -> Bools:
        """Where the spray switch is on, and there is one."""
        on: Bools = (self.frames["flags"] & Flag.SPRAY) != 0
        return on & self.fitted.switch

    @property
    def flowing(self) -> Bools:
        """Where the flow meter turns, and there is one."""
        return np.asarray(self.flow.frequency_hz > 0) & self.fitted.sure_meter

    @property
    def missed(self) -> Bools:
        """Where the board did not count all flow pulses, as far as it knows."""
        return self.refused | (self.counts.dropped > 0)

    def since(self, place: int) -> Scene:
        """The same from frame `place` on."""
        return replace(self, **_cut(self, slice(place, None)))

    def before(self, place: int) -> Scene:
        """The same up to frame `place`, without it."""
        return replace(self, **_cut(self, slice(place)))


def _cut(arrays: Any, part: slice) -> dict[str, Any]:
    """The fields of a dataclass for a part of the frames."""
    out = {}
    for one in fields(arrays):
        value = getattr(arrays, one.name)
        out[one.name] = value[part] if isinstance(value, np.ndarray) else replace(value, **_cut(value, part))
    return out
