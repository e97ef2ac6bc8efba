"""A scenario as a source of lines: what is due by a given time, and where the host's bytes go."""

from __future__ import annotations

from bisect import insort
from collections import deque
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from firmware_protocol.messages import MAX_LINE, Capability
from host.rig import Rig
from host.simulate.board import LINE_S, EmulatedBoard
from host.simulate.scenario import Scenario
from host.simulate.sprayer import BLOCK_S, Sprayer
from host.simulate.wire import TimedLine, Wire


class ScenarioSource:
    """The emulated sprayer behind its board and cable. Pure: time is what the caller says it is.

    Without `rng` all randomness comes from the scenario's seed.
    """

    def __init__(self, scenario: Scenario, rng: np.random.Generator | None = None) -> None:
        self.scenario = scenario
        of_wire, of_sprayer = (rng or np.random.default_rng(scenario.seed)).spawn(2)
        self.sprayer = Sprayer(scenario, of_sprayer)
        disturbances = self.sprayer.disturbances
        self.board = EmulatedBoard(
            scenario.board,
            capabilities(scenario.rig, scenario.board.without),
            self.sprayer.next_block,
            [disturbance for disturbance in disturbances.all if disturbance.kind == "board_reset"],
            [disturbance for disturbance in disturbances.all if disturbance.kind == "link_stall"],
            {name: [one for one in disturbances.all if one.kind == f"{name}_dropped"] for name in ("flow", "wheel")},
        )
        self.wire = Wire(scenario.link, disturbances, of_wire)
        self._waiting: deque[TimedLine] = deque()
        self._replied_s = 0.0

    @property
    def duration_s(self) -> float:
        """Length of the run."""
        return self.sprayer.duration_s

    @property
    def over(self) -> bool:
        """Whether every line has been handed out."""
        return self.board.over and not self._waiting

    def connected(self, at_s: float) -> bool:
        """Whether the cable is in at this time."""
        return self.wire.connected(at_s)

    def next_due_s(self) -> float:
        """When there is something to hand out next; never later than it is due."""
        return self._waiting[0][0] if self._waiting else self.board.next_due_s()

    def due(self, until_s: float) -> list[TimedLine]:
        """The lines that arrive by `until_s` (s from the start), in order."""
        self._waiting += self.wire.lines(self.board.advance(until_s))
        lines = []
        while self._waiting and self._waiting[0][0] <= until_s:
            lines.append(self._waiting.popleft())
        return lines

    def receive(self, data: bytes, at_s: float) -> None:
        """Bytes from the host; the answers come among the lines that are due."""
        for due, line in self.board.receive(data, at_s):
            # After the reply before it, but among the reports: the board sends one line at a time.
            self._replied_s = max(self._replied_s, due) + len(line) * LINE_S / MAX_LINE
            insort(self._waiting, (self._replied_s, line), key=lambda waiting: waiting[0])


def capabilities(rig: Rig, without: Sequence[str] = ()) -> Capability:
    """What is fitted on the board of `rig`, `without` some inputs; buzzer and light always are."""
    fitted = Capability.FLOW | Capability.BUZZER | Capability.LIGHT
    fitted |= Capability.WHEEL if rig.wheel else Capability(0)
    fitted |= Capability.PRESSURE if rig.pressure else Capability(0)
    fitted |= Capability.SWITCH if rig.spray_switch else Capability(0)
    for part in without:
        fitted &= ~Capability[part.upper()]
    return fitted


def run_lines(source: ScenarioSource) -> Iterator[list[TimedLine]]:
    """The whole run's lines, some seconds at a time."""
    until_s = 0.0
    while not source.over:
        until_s += BLOCK_S
        yield source.due(until_s)


def run_frames(source: ScenarioSource) -> npt.NDArray[Any]:
    """The whole run's sound reports as the journal's reader would give them, without writing any line: FRAME_DTYPE."""
    parts = []
    until_s = 0.0
    while not source.board.over:
        until_s += BLOCK_S
        parts.append(source.wire.frames(source.board.advance(until_s)))
    return np.concatenate(parts)
