"""Raw frames to running totals: 32-bit wraps, board resets and gaps taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.frames import WRAP, Event, Frames, counter_difference, together
from host.pipeline.carry import HoldLast, RunningSum
from host.pipeline.columns import Bools, Ints
from host.pipeline.late_pulses import LatePulses
from host.pipeline.lateness import Lateness

_LONGEST_STEP_US = 120_000_000  # a board clock further on than this, with no such wait on the host, has restarted
_HOST_PACE = 20  # a run may be replayed up to this much faster than it was sprayed and still be told from a restart
_BOOT_SLACK_US = 5_000_000
_HIGHEST_HZ = 50_000  # more edges than this would need are a damaged line that slipped through, not water
_LONG_AGO_US = -(2**62)


@dataclass(frozen=True)
class PulseCount:
    """One pulse input. Arrays of shape (n,)."""

    total: Ints  # pulses since the first frame of the run
    step: Ints  # pulses since the frame before
    late: Ints  # pulses the board had failed to count, as it says now: in the total, with no time of their own
    edge_us: Ints  # time of the last edge on the continuous board clock; far in the past before any
    timed: Bools  # new pulses, and the time of the last of them is known


@dataclass(frozen=True)
class Counts:
    """Frames on one continuous time axis. Arrays of shape (n,)."""

    board_us: Ints  # board clock, continued over wraps and resets, 0 at the first frame
    step_us: Ints  # since the frame before; 0 for the first
    since_us: Ints  # when the counting of this frame's pulses began: the frame before, or the board's restart
    broken: Bools  # first frame, or the board had restarted, or its counts do not go on from the frame before
    reset: Bools  # the board had restarted
    lost: Ints  # frames missing before this one, by the sequence number
    dropped: Ints  # pulses that the board says it failed to count since the frame before, of flow or wheel
    unsent: Ints  # lines that it says it could not send
    flow: PulseCount
    wheel: PulseCount


class CountUnwrapper:
    """Turns the wire's modulo-2**32 counters into totals.

    Between two frames of the same start (boot number) the pulses are the difference modulo 2**32, however long the
    gap: lines lost on the way lose no volume. After a restart the pulses counted since then are added; those pumped
    while the board was down are lost; how long that was is on the computer's clock, from when the last report before
    was made. Frames that fit neither (another board was plugged in, or a damaged line whose
    checksum agreed by chance) set a new starting point and add nothing.
    """

    def __init__(self) -> None:
        self._last: Frames | None = None
        self._board = RunningSum()
        self._flow = _PulseUnwrapper("flow")
        self._wheel = _PulseUnwrapper("wheel")
        self._late = LatePulses()
        self._lateness = Lateness()

    @property
    def put_back(self) -> dict[str, int]:
        """Pulses dropped and put back, by input."""
        return self._late.total

    def push(self, frames: Frames, events: list[Event]) -> Counts:
        """Continue with `frames`, shape (n,), of FRAME_DTYPE, among which `events` lie."""
        late = self._late.push(len(frames), events)
        first = self._last is None
        before = together((frames[:1] if self._last is None else self._last, frames[:-1]))[: len(frames)]
        if len(frames):
            self._last = frames[-1:].copy()
        host_us = ((frames["host_s"] - before["host_s"]) * 1e6).astype(np.int64)
        step_us = counter_difference(frames["clock"], before["clock"])
        wraps = np.where(host_us > WRAP // 2, np.rint((host_us - step_us) / WRAP), 0).astype(np.int64)
        step_us += np.maximum(wraps, 0) * WRAP
        continues = (frames["boot"] == before["boot"]) & (step_us <= _LONGEST_STEP_US + _HOST_PACE * host_us)
        for count in ("flow_count", "wheel_count"):
            went_back = counter_difference(frames[count], before[count]) >= WRAP // 2
            continues &= ~went_back
        since_boot = frames["clock"].astype(np.int64)
        reset = ~continues & (since_boot <= _BOOT_SLACK_US + _HOST_PACE * host_us)
        if first and len(frames):
            continues[0] = reset[0] = False
        late_us = self._lateness.push(host_us, step_us, continues)
        step_us = np.where(continues, step_us, np.maximum(host_us, 0) + late_us)
        board_us = self._board(step_us)
        missing = np.maximum((frames["seq"].astype(np.int64) - before["seq"]) % 2**16 - 1, 0)
        return Counts(
            board_us=board_us,
            step_us=step_us,
            since_us=board_us - np.where(reset, since_boot, step_us),
            broken=~continues,
            reset=reset,
            lost=np.where(continues, missing, np.where(reset, frames["seq"], 0)),
            dropped=_board_says(frames, before, "edges_dropped", continues, reset),
            unsent=_board_says(frames, before, "lines_dropped", continues, reset),
            flow=self._flow.push((frames, before), (board_us, step_us), continues, reset, late["flow"]),
            wheel=self._wheel.push((frames, before), (board_us, step_us), continues, reset, late["wheel"]),
        )


def _board_says(frames: Frames, before: Frames, counter: str, continues: Bools, reset: Bools) -> Ints:
    """By how much one of the board's own 8-bit counts of failures went up."""
    now = frames[counter].astype(np.int64)
    return np.where(continues, (now - before[counter]) % 2**8, np.where(reset, now, 0))


class _PulseUnwrapper:
    def __init__(self, name: str) -> None:
        self._count, self._edge = f"{name}_count", f"{name}_edge"
        self._total = RunningSum()
        self._edge_us = HoldLast(_LONG_AGO_US)

    def push(
        self,
        now_and_before: tuple[Frames, Frames],
        time_and_step_us: tuple[Ints, Ints],
        continues: Bools,
        reset: Bools,
        late: Ints,
    ) -> PulseCount:
        (frames, before), (board_us, step_us) = now_and_before, time_and_step_us
        count = frames[self._count]
        step = np.where(continues, counter_difference(count, before[self._count]), np.where(reset, count, 0))
        time_us = np.where(reset, frames["clock"], step_us)
        plausible = step <= _HIGHEST_HZ * time_us // 1_000_000 + _HIGHEST_HZ // 1000
        step = np.where(plausible, step, 0)
        # With no new edge the one before still holds; its age on the wire would wrap after 71.6 minutes.
        edge_us = board_us - counter_difference(frames["clock"], frames[self._edge])
        has_edge = frames[self._edge] != 0  # 0 says: no pulse since the board started
        known = has_edge & (~continues | (step > 0))
        forgotten = ~continues & ~has_edge
        edge_us = self._edge_us(np.where(forgotten, _LONG_AGO_US, edge_us), known | forgotten)
        return PulseCount(
            total=self._total(step + late), step=step, late=late, edge_us=edge_us, timed=has_edge & (step > 0)
        )
