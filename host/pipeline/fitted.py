"""What can be measured: what the board says is fitted, held against what the rig has. The one place that says so."""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields

import numpy as np

from firmware_protocol.messages import Capability, Flag
from host.frames import Event, Frames
from host.pipeline.bouncing import Unfiltered
from host.pipeline.columns import Bools
from host.pipeline.counts import Counts
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


_PULSED = ("flow", "wheel")
NOTHING = Inputs(False, False, False, False, False)


@dataclass(frozen=True)
class Fitted:
    """The same per frame, shape (n,) each."""

    meter: Bools
    switch: Bools
    wheel: Bools
    way: Bools
    pressure: Bools
    bounces: Bools  # meter or wheel is a contact that the board does not filter: its pulses measure nothing
    metered: Bools  # the total volume is known by what was counted
    walked: Bools  # and the way
    sure_meter: Bools  # said by the board, or seen to work: a fault may be built on it
    sure_wheel: Bools

    @property
    def ground(self) -> Bools:
        """Volume and ground at the same time."""
        return self.meter & self.way

    @property
    def any(self) -> Inputs:
        """What could be measured in at least one of the frames."""
        return Inputs(*(bool(getattr(self, one.name).any()) for one in fields(Inputs)))


class Capabilities:
    """What rig and board have both: by the board's identity line, and before one by what is the same on every board.

    Until the board has said who it is, meter and wheel are taken to be there as the rig has them. A switch is there
    once it was seen to be on: without one it never is (PROTOCOL.md section 5). A pressure is not known, for the
    converter's range is not.
    """

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._said: Capability | None = None
        self._seen = np.zeros((3, 1), dtype=np.bool_)  # whether meter, wheel and switch were seen to work so far
        self._bad = np.zeros((4, 1), dtype=np.bool_)  # whether meter and wheel are not filtered, and have counted so
        self._now: Inputs | None = None  # worked out once for each piece of frames

    def push(self, frames: Frames, counts: Counts, bouncing: Unfiltered, events: list[Event]) -> Fitted:
        """For `frames`, shape (n,), with their `counts` and their contacts, among which `events` lie."""
        works = np.stack((counts.flow.total > 0, counts.wheel.total > 0, (frames["flags"] & Flag.SPRAY) != 0))
        seen = np.repeat(self._seen, len(frames), axis=1)
        for row, works_now in zip(seen, works, strict=True):
            row[int(np.argmax(works_now)) if works_now.any() else len(row) :] = True
        bad = np.stack([bouncing.waits[name] for name in _PULSED] + [bouncing.counted[name] for name in _PULSED])
        columns = self._columns(seen, bad)
        for event in events:
            if event.kind == "identity" and isinstance(event.detail.get("capabilities"), int):
                self._said = Capability(event.detail["capabilities"])
                place = event.before_frame
                columns[:, place:] = self._columns(seen[:, place:], bad[:, place:])
        if len(frames):
            self._seen, self._bad = seen[:, -1:], bad[:, -1:]
        self._now = None
        return Fitted(*columns)

    @property
    def now(self) -> Inputs:
        """By the newest that the board has said."""
        if self._now is None:
            self._now = Inputs(*self._columns(self._seen, self._bad)[: len(fields(Inputs)), -1].tolist())
        return self._now

    def _columns(self, seen: Bools, bad: Bools) -> Bools:
        """The fields of Fitted, one below the other, by what the board has said so far."""
        if seen.shape[1] > 1 and not bad.any() and (seen[:, 0] == seen[:, -1]).all():  # as most of the time
            return np.repeat(self._columns(seen[:, :1], bad[:, :1]), seen.shape[1], axis=1)
        rig, told = self._rig, self._said is not None
        has = ~Capability.PRESSURE if self._said is None else self._said
        meter, metered = (bool(has & Capability.FLOW) & ~of for of in bad[::2])
        wheel, wheeled = ((rig.wheel is not None and bool(has & Capability.WHEEL)) & ~of for of in bad[1::2])
        switch = (rig.spray_switch and bool(has & Capability.SWITCH)) & (told | seen[2])
        pressure = np.full(len(meter), rig.pressure is not None and bool(has & Capability.PRESSURE))
        way, walked = (wheel, wheeled) if rig.wheel else (meter | switch, metered | switch)
        sure = meter & (told | seen[0]), wheel & (told | seen[1])
        columns: Bools = np.stack((meter, switch, wheel, way, pressure, bad[:2].any(axis=0), metered, walked, *sure))
        return columns
