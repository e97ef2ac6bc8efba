"""Where a contact bounces and the board does not filter it: what is counted then may be several times the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_protocol.messages import FilterRule
from host.frames import Event, Frames
from host.pipeline.carry import HoldLast
from host.pipeline.columns import Bools
from host.pipeline.counts import Counts
from host.rig import Rig
from host.rig.sensors import SENSORS

FILTERS = "board_filters"  # an event: what a start's first state line says, where its first report came; only in review


@dataclass(frozen=True)
class Unfiltered:
    """By input, "flow" and "wheel", where its contact is not filtered, and from where on pulses were counted so.

    Arrays of shape (n,).
    """

    waits: dict[str, Bools]
    counted: dict[str, Bools]


class Bouncing:
    """Reads the board's state lines: a contact needs the rule of rest (PROTOCOL.md section 5).

    Until a state line of this start says so, the filter is not in force; a board of wire 1.0 never says it.
    """

    def __init__(self, rig: Rig) -> None:
        sensors = {"flow": rig.meter_sensor} | ({"wheel": rig.wheel_sensor} if rig.wheel else {})
        self._inputs = [name for name, kind in sensors.items() if SENSORS[kind].rule is FilterRule.REST]
        self._since = {name: HoldLast(0) for name in self._inputs}  # pulses counted before the filter was missed
        self.now: tuple[str, ...] = ()  # inputs that are so in the newest frame
        self._said: tuple[int, dict[str, bool]] = (-1, {})

    @property
    def clean(self) -> dict[str, bool]:
        """Which inputs have a sensor that switches cleanly, so that what is refused of it is noise."""
        return {name: name not in self._inputs for name in ("flow", "wheel")}

    def push(self, frames: Frames, counts: Counts, events: list[Event]) -> Unfiltered:
        """For `frames`, shape (n,), with their `counts`, among which `events` lie."""
        n = len(frames)
        waits, counted = ({name: np.zeros(n, dtype=np.bool_) for name in ("flow", "wheel")} for _ in range(2))
        if not self._inputs:
            return Unfiltered(waits, counted)
        said = [(event.before_frame, event) for event in events if event.kind in ("board_state", FILTERS)]
        boot, rest = np.empty(n, dtype=np.int64), {name: np.empty(n, dtype=np.bool_) for name in self._inputs}
        for place, event in [(0, None), *said]:
            if event is not None:
                rules = {name: event.detail[f"{name}_rule"] == FilterRule.REST for name in self._inputs}
                self._said = int(event.detail["boot"]), rules
            boot[place:] = self._said[0]
            for name, of in rest.items():
                of[place:] = self._said[1].get(name, False)
        for name, of in rest.items():
            pulses = counts.flow if name == "flow" else counts.wheel
            waits[name] = ~(of & (frames["boot"] == boot))
            counted[name] = waits[name] & (pulses.total > self._since[name](pulses.total, ~waits[name]))
        if n:
            self.now = tuple(name for name, of in counted.items() if of[-1])
        return Unfiltered(waits, counted)
