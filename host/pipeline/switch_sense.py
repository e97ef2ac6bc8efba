"""A spray switch that reads the wrong way round: water comes as it goes off and stops as it comes on.

A wire on the other contact of a changeover switch does that. Two such edges in a row are no chance, and no broken wire:
that one reads off for good.
"""

from __future__ import annotations

import math

import numpy as np

from host.pipeline.columns import Bools, Floats, Ints

_LATE_US = 1_000_000  # after an edge a rotor runs down, or water is on its way
_DRY_US, _WET_US = 3_000_000, 5_000_000  # of one state, before it says something
_WET, _DRIPS = 10, 2  # pulses


class SwitchSense:
    """Follows switch and meter until water came with the switch on: then it is right for the rest of the run."""

    def __init__(self) -> None:
        self.backwards_s = math.nan  # when it was found, on the host's clock
        self._right = False
        self._on: bool | None = None
        self._since_us, self._pulses = 0, 0  # of the state it is in, without its first second
        self._before = ""  # what the states before it were: "d" on and dry, "w" off and wet
        self._found = False

    def push(self, on: Bools, board_us: Ints, pulses: Ints, host_s: Floats) -> Bools:
        """Where it is known to be the wrong way round; `pulses` are those of each frame. Shape (n,) each."""
        known = np.zeros(len(on), dtype=np.bool_)
        if self._right or not len(on):
            return known
        edges = np.flatnonzero(on[1:] != on[:-1]) + 1
        for begin, end in zip([0, *edges.tolist()], [*edges.tolist(), len(on)], strict=True):
            if self._on != on[begin]:
                self._turn(bool(on[begin]), int(board_us[begin]))
            place = self._state(board_us[begin:end], pulses[begin:end])
            if self._right:
                self.backwards_s = math.nan
                return known
            if place is not None:
                self._found, self.backwards_s = True, float(host_s[begin + place])
                known[begin + place : end] = True
            elif self._found:
                known[begin:end] = True
        return known

    def _turn(self, on: bool, now_us: int) -> None:
        """The switch has turned: what the state before was."""
        lasted_us = now_us - self._since_us
        dry = self._on is True and lasted_us >= _DRY_US and self._pulses <= _DRIPS
        wet = self._on is False and lasted_us >= _WET_US and self._pulses >= _WET
        self._before = f"{self._before}{'d' if dry else 'w'}"[-2:] if dry or wet else ""
        self._on, self._since_us, self._pulses = on, now_us, 0

    def _state(self, board_us: Ints, pulses: Ints) -> int | None:
        """Go on in one state; in which of its frames it was found, and None where it was not, or had been before."""
        lasted_us = board_us - self._since_us
        counted = self._pulses + np.cumsum(np.where(lasted_us >= _LATE_US, pulses, 0))
        self._pulses = int(counted[-1])
        if not self._on:
            return None
        if self._pulses >= _WET:
            self._right = True
            return None
        dry = (lasted_us >= _DRY_US) & (counted <= _DRIPS)
        found = not self._found and self._before == "dw" and bool(dry.any())
        return int(np.argmax(dry)) if found else None
