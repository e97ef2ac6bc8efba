"""Sprayers, boards and mishaps drawn at random, far wider than the cases: whatever it is, the stated ± holds the truth.

Short passes and long ones, slow meters and fine ones, one magnet and twenty, every interval, with a switch and without,
silences anywhere, a restart, pulses that the board drops, a stop in the second pass.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from host.review.review import Review, review_of
from host.rig import rig_from_toml
from tests.independent_board.board import Board, Mishaps, Restart
from tests.independent_board.lines import Who
from tests.independent_board.reading import METER_U, WHEEL_U, frames_file, rig_toml, truth_on_known_ground
from tests.independent_board.sprayer import Plan, Sprayer, spray

INTERVALS_MS = (20, 50, 100, 200, 500, 1000)
NO_SWITCH, ALL = 0x07, 0x0F


@dataclass(frozen=True)
class Drawn:
    """One of them, and how many standard uncertainties the host is off: rate, area, volume on known ground."""

    seed: int
    plan: Plan
    board: Board
    switch: bool
    review: Review
    off: tuple[float, float, float]


def drawn(seed: int) -> Drawn | None:
    """The sprayer of a seed, reviewed; None where it has no known ground at all."""
    rng = np.random.default_rng([77, seed])
    plan, switch = _plan(rng), bool(rng.random() < 0.6)
    meter, wheel = 1 + METER_U * rng.normal(), 1 + WHEEL_U * rng.normal()
    real = replace(plan, pulses_per_m3=plan.pulses_per_m3 * meter, metres_per_pulse=plan.metres_per_pulse * wheel)
    sprayer = replace(spray(real, rng), plan=plan)
    who = Who(
        interval_ms=int(rng.choice(INTERVALS_MS)), full_scale=plan.full_scale, capabilities=ALL if switch else NO_SWITCH
    )
    board = Board(who, clock_fast=float(rng.uniform(-0.01, 0.01)), mishaps=_mishaps(sprayer, rng))
    run = frames_file(*board.frames(sprayer, rng))
    review = review_of(run, rig_from_toml(rig_toml(plan, switch=switch)), watch_faults=False)
    true, totals = truth_on_known_ground(sprayer, review), review.totals
    if totals.rate_m3_m2 is None or totals.rate_u_m3_m2 is None or not true.area_m2 > 0:
        return None
    off = (
        (totals.rate_m3_m2 - true.rate_m3_m2) / totals.rate_u_m3_m2,
        (totals.area_m2 - true.area_m2) / totals.area_u_m2,
        (totals.ground_m3 - true.volume_m3) / totals.ground_u_m3,
    )
    return Drawn(seed, plan, board, switch, review, off)


def _between(low: float, high: float, rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _plan(rng: np.random.Generator) -> Plan:
    up = _between(0.03, 0.1, rng)
    return Plan(
        passes=int(rng.integers(2, 8)),
        pass_m=_between(4, 40, rng),
        turn_s=_between(1.5, 15, rng),
        pace_m_s=_between(0.5, 2.5, rng),
        flow_m3_s=_between(1.5e-5, 2.5e-4, rng),
        pressure_pa=_between(1e5, 5e5, rng),
        pulses_per_m3=_between(3e5, 6e6, rng),
        metres_per_pulse=_between(0.02, 0.6, rng),
        poles_uneven=rng.uniform(0, 0.2),
        magnets_uneven=rng.uniform(0, 0.2),
        stands=((2, 2.0, float(rng.uniform(1, 8))),) if rng.random() < 0.2 else (),
        full_scale=int(rng.choice([1023, 4095])),
        valve_late_s=float(rng.uniform(0, 0.12)),
        hose_up_s=_between(0.06, 0.3, rng),
        rotor_s=(up, up * float(rng.uniform(0.8, 1.5))),
    )


def _mishaps(sprayer: Sprayer, rng: np.random.Generator) -> Mishaps:
    end, flow_hz = float(sprayer.t[-1]), sprayer.plan.flow_m3_s * sprayer.plan.pulses_per_m3
    silences: list[tuple[float, float]] = []
    for begin in sorted(rng.uniform(2, end - 2, int(rng.integers(0, 3))).tolist()):
        if not silences or begin > silences[-1][1]:
            silences.append((begin, min(begin + _between(0.3, 20, rng), end - 1.5)))
    restarts: tuple[Restart, ...] = ()
    if rng.random() < 0.25:
        keeps = bool(rng.random() < 0.5)
        restarts = (Restart(float(rng.uniform(3, end - 8)), _between(0.3, 5, rng), keeps),)
    dropped: tuple[int, ...] = ()
    if rng.random() < 0.15 and flow_hz > 150:  # a board drops pulses when they come fast
        first = int(rng.integers(0, max(1, len(sprayer.flow_pulse_s) - 60)))
        dropped = tuple(range(first, first + int(rng.integers(1, 60))))
    return Mishaps(tuple(silences), restarts, dropped)
