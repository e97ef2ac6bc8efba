"""Edges that a board's input filters refused: how many, whether it matters, and where counts cannot be trusted for it.

A filter refuses what cannot be a pulse of its sensor (PROTOCOL.md section 5). That is its work. But pulses that come
faster than it lets pass are refused as well, and then less is counted than flowed or was walked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firmware_protocol.messages import FilterRule, Flag
from host.frames import WRAP, Event, Frames
from host.pipeline.carry import RunningSum
from host.pipeline.columns import Bools, Floats
from host.pipeline.counts import Counts

INPUTS = {"flow": Flag.FLOW_GLITCH, "wheel": Flag.WHEEL_GLITCH}
_LEAST_EDGES = 20
_MATTERS = 0.1  # of all edges
# Counted pulses a second × filter time, from which on true pulses may be among the refused: at 1 all are with the rule
# of spacing, at a half with the rule of rest, for a sensor is inactive for half of a period (common practice).
_TOO_FAST: dict[int, float] = {FilterRule.SPACING: 0.4, FilterRule.REST: 0.35}
_JOIN_S = 1.0


@dataclass(frozen=True)
class Refused:
    """A time in which one input, "flow" or "wheel", refused more edges than is good. Host times in s."""

    name: str
    start_s: float
    end_s: float
    refused: int
    counted: int
    filter_us: int
    too_fast: bool  # the pulses that did count came about as fast as the filter lets pass

    @property
    def share(self) -> float:
        """Refused, of all edges."""
        return self.refused / (self.refused + self.counted)


class RefusedEdges:
    """Reads the board's state lines and the glitch flags of its reports."""

    def __init__(self) -> None:
        self.windows: list[Refused] = []  # those that matter, in order of time
        self._said: dict[str, Any] | None = None  # the state line before, with the totals counted then
        self._filters: dict[str, tuple[int, float]] = dict.fromkeys(INPUTS, (0, 0.0))  # rule, µs
        self._counted = {name: np.zeros((2, 1), dtype=np.int64) for name in INPUTS}  # pulses, µs of frames with any
        self._busy = {name: RunningSum() for name in INPUTS}

    def push(self, frames: Frames, counts: Counts, hz: dict[str, Floats], events: list[Event]) -> dict[str, Bools]:
        """Where true pulses of an input may have been refused, by input, shape (n,); `hz`: how fast pulses count."""
        states = [event for event in events if event.kind == "board_state"]
        missed: dict[str, Bools] = {}
        for name, flag in INPUTS.items():
            limit = np.full(len(frames), self._limit_hz(name))
            for event in states:
                said = (event.detail[f"{name}_rule"], event.detail[f"{name}_filter"])
                if said != self._filters[name]:
                    self._filters[name] = said
                    limit[event.before_frame :] = self._limit_hz(name)
            missed[name] = ((frames["flags"] & flag) != 0) & (hz[name] > limit)
        places = [min(event.before_frame, len(frames)) for event in states]
        so_far = {}
        for name, pulses in (("flow", counts.flow), ("wheel", counts.wheel)):
            columns = pulses.total, self._busy[name](np.where(pulses.step > 0, counts.step_us, 0))
            totals = np.concatenate((self._counted[name], np.stack(columns)), axis=1)
            so_far[name] = totals[:, places].T.tolist()
            self._counted[name] = totals[:, -1:].copy()
        for n, event in enumerate(states):
            self._take(event, {name: of[n] for name, of in so_far.items()})
        return missed

    def _limit_hz(self, name: str) -> float:
        rule, filter_us = self._filters[name]
        return _TOO_FAST.get(rule, np.inf) * 1e6 / filter_us if filter_us else np.inf

    def _take(self, event: Event, so_far: dict[str, list[int]]) -> None:
        said, before = event.detail | {"host_s": event.host_s, "so_far": so_far}, self._said
        self._said = said
        if before is None or before["boot"] != said["boot"]:
            return
        for name in INPUTS:
            refused = (said[f"{name}_refused"] - before[f"{name}_refused"]) % WRAP
            counted, busy_us = (now - then for now, then in zip(so_far[name], before["so_far"][name], strict=True))
            if refused + counted < _LEAST_EDGES or refused < _MATTERS * (refused + counted):
                continue
            too_fast = counted * 1e6 >= self._limit_hz(name) * busy_us
            # A bouncing contact is refused all the time, and that is what the rule of rest is for.
            if too_fast or said[f"{name}_rule"] == FilterRule.SPACING:
                filter_us = said[f"{name}_filter"]
                start_s = float(before["host_s"])
                self._add(Refused(name, start_s, event.host_s, refused, counted, filter_us, too_fast))

    def _add(self, found: Refused) -> None:
        """One that follows another of its kind joins it."""
        for place, one in enumerate(self.windows):
            alike = (one.name, one.filter_us, one.too_fast) == (found.name, found.filter_us, found.too_fast)
            if alike and found.start_s - one.end_s < _JOIN_S:
                self.windows[place] = replace(
                    one, end_s=found.end_s, refused=one.refused + found.refused, counted=one.counted + found.counted
                )
                return
        self.windows.append(found)
