"""A person who is slow, and a rotor that runs on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any, cast

from firmware_protocol.messages import Capability, decode
from host.bringup.board_session import Bench
from host.bringup.by_hand import by_hand
from host.bringup.findings import Grade
from tests.dashboards.walking import IDENTITY, Walk

SLOW_S = 12.0


@dataclass
class SlowHand:
    """The meter turns from the beginning to the end; pressure comes long after it was asked for."""

    walk: Walk
    asked_at: float = float("inf")

    def say(self, text: str) -> None:
        if text.startswith("Put a little pressure"):
            self.asked_at = self.walk.time_s

    def clock(self) -> float:
        return self.walk.time_s

    def hear(self) -> list[Any]:
        if self.walk.time_s > self.asked_at + SLOW_S:
            self.walk.pressure = 5000
        return [SimpleNamespace(message=decode(self.walk.report()))]


def test_a_rotor_that_runs_on_is_no_swapped_wire() -> None:
    hand = SlowHand(Walk(pressure=1637, pace_mph=0.0))
    board = replace(IDENTITY, capabilities=Capability.FLOW | Capability.PRESSURE)
    found = list(by_hand(cast(Bench, hand), board, 60.0, hand.say))
    assert [(finding.what, finding.grade) for finding in found] == [
        ("flow meter", Grade.GOOD),
        ("pressure transducer", Grade.GOOD),
    ]
