"""The edge cases: what befalls sprayer, board and cable, and what the host's rig file says that there is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tests.independent_board.board import Board, Mishaps, Restart
from tests.independent_board.lines import Who
from tests.independent_board.sprayer import Plan, Sprayer, spray

PLAN = Plan()
SLOW = replace(PLAN, flow_m3_s=2e-5)  # 9 Hz

NO_WHEEL, NO_SWITCH, NO_PRESSURE = 0x0D, 0x07, 0x0B


@dataclass(frozen=True)
class Case:
    """One edge case; `rig` are the parts that the rig file claims, where they differ from those of the plan."""

    name: str
    plan: Plan = PLAN
    board: Callable[[Sprayer], Board] = lambda sprayer: Board()
    rig: dict[str, Any] = field(default_factory=dict)

    def sprayed(self, seed: int) -> tuple[Sprayer, list[tuple[float, bytes]]]:
        """The sprayer, and what arrives of it at the computer."""
        rng = np.random.default_rng([seed, len(self.name)])
        sprayer = spray(self.plan, rng)
        return sprayer, self.board(sprayer).lines(sprayer, rng)


def _silent(begin: Callable[[Sprayer], float], end: Callable[[Sprayer], float]) -> Callable[[Sprayer], Board]:
    return lambda s: Board(mishaps=Mishaps(silences=((begin(s), end(s)),)))


def _restarts(restart: Callable[[Sprayer], Restart]) -> Callable[[Sprayer], Board]:
    return lambda s: Board(mishaps=Mishaps(restarts=(restart(s),)))


def _every(interval_ms: int, **more: Any) -> Callable[[Sprayer], Board]:
    return lambda s: Board(Who(interval_ms=interval_ms), **more)


def _end(s: Sprayer) -> float:
    return s.passes_s[1][1]


def _begin(s: Sprayer) -> float:
    return s.passes_s[1][0]


def _next(s: Sprayer) -> float:
    return s.passes_s[2][0]


def _wrapping(s: Sprayer) -> Board:
    return Board(first_clock_us=2**32 - 40_000_000, first_counts=(2**32 - 900, 2**32 - 90))


def _dropping(**pulses: tuple[int, ...]) -> Callable[[Sprayer], Board]:
    return lambda s: Board(mishaps=Mishaps(**pulses))


CASES = (
    Case("all is well"),
    Case("silent over the end of a pass and the turn", board=_silent(lambda s: _end(s) - 4, lambda s: _end(s) + 7)),
    Case("silent over a turn and the start of a pass", board=_silent(lambda s: _end(s) + 3, lambda s: _next(s) + 4)),
    Case("silent over a whole pass", board=_silent(lambda s: _begin(s) - 2, lambda s: _end(s) + 2.5)),
    Case("silent over end, turn and start", board=_silent(lambda s: _end(s) - 5, lambda s: _next(s) + 5)),
    Case("silent inside a pass for 6 s", board=_silent(lambda s: _begin(s) + 5, lambda s: _begin(s) + 11)),
    Case("silent in a turn", board=_silent(lambda s: _end(s) + 2.5, lambda s: _next(s) - 1)),
    Case("restart in a pass, 1.5 s down", board=_restarts(lambda s: Restart(_begin(s) + 8))),
    Case("restart that keeps its counts", board=_restarts(lambda s: Restart(_begin(s) + 8, keeps=True))),
    Case("restart in a pass, 4 s down", board=_restarts(lambda s: Restart(_begin(s) + 8, 4.0))),
    Case("25 wheel pulses dropped", board=_dropping(wheel_dropped=tuple(range(300, 325)))),
    Case("51 flow pulses dropped", board=_dropping(flow_dropped=tuple(range(1000, 1051)))),
    Case("reports every 20 ms", board=_every(20)),
    Case("reports every 500 ms", board=_every(500)),
    Case("reports every 1000 ms", board=_every(1000)),
    Case("no switch, flow at 36 Hz", board=lambda s: Board(Who(capabilities=NO_SWITCH)), rig={"switch": False}),
    Case("no switch, flow at 9 Hz", SLOW, lambda s: Board(Who(capabilities=NO_SWITCH)), {"switch": False}),
    Case("no switch, 9 Hz, every 1000 ms", SLOW, _every(1000), {"switch": False}),
    Case("board without the rig's switch", board=lambda s: Board(Who(capabilities=NO_SWITCH))),
    Case("timed course, no wheel", board=lambda s: Board(Who(capabilities=NO_WHEEL)), rig={"wheel": False}),
    Case("standing still for 5 s in a pass", replace(PLAN, stands=((2, 10.0, 5.0),))),
    Case("poles and magnets uneven by a quarter", replace(PLAN, poles_uneven=0.25, magnets_uneven=0.25)),
    Case("counts and clock about to wrap", board=_wrapping),
)
