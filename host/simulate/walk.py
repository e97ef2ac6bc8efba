"""The walk: passes, turns, stops to refill, and a pace that is never quite even."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from host.simulate.disturbances import Disturbance
from host.simulate.noise import Lag, grid, wander
from host.simulate.settings import WalkSettings

Floats = npt.NDArray[np.float64]

STEP_S = 0.05  # grid of the walk: a step takes about half a second
_CADENCE_HZ = 1.8  # steps a second at an easy walk (common practice)
_CADENCE_SWING = 0.04  # how far the speed swings with each step
_START_S = 0.4  # time constant of setting off and stopping
_SLOWEST = 0.1  # of the pace; a pass that comes to rest for ever would never end


@dataclass(frozen=True)
class Pass:
    """One pass as walked: spray on from `begin_s` to `end_s`."""

    begin_s: float
    end_s: float


@dataclass(frozen=True)
class Walk:
    """The walk on an even grid from 0 s. `speed` and `distance` have the shape of `t`."""

    t: Floats
    speed_m_s: Floats
    distance_m: Floats
    passes: tuple[Pass, ...]
    refills: tuple[tuple[float, float], ...]  # begin and end, s
    disturbances: tuple[Disturbance, ...]  # those of the scenario, all in absolute time

    @property
    def duration_s(self) -> float:
        """How long the whole walk takes."""
        return float(self.t[-1])

    def distance_at(self, times: Floats) -> Floats:
        """Distance walked up to `times` (s), m."""
        return np.asarray(np.interp(times, self.t, self.distance_m))


def walk(
    plan: WalkSettings,
    pace_m_s: float,
    disturbances: tuple[Disturbance, ...],
    duration_s: float | None,
    rng: np.random.Generator,
) -> Walk:
    """Carry out `plan` at `pace_m_s`, with the disturbances that touch it; cut at `duration_s` when that is given.

    Disturbances given relative to a pass get their absolute time here; those of a pass that is not walked are left out.
    """
    walker = _Walker(plan, pace_m_s, disturbances, rng)
    walker.stand(plan.start_after_s)
    for number in range(1, plan.passes + 1):
        walker.walk_pass(number)
        if number in plan.refill_after and number < plan.passes:
            walker.refill()
        elif number < plan.passes:
            walker.turn()
        if duration_s is not None and walker.now_s >= duration_s:
            break
    walker.stand(plan.ends_after_s)
    return walker.finish(duration_s)


class _Walker:
    def __init__(
        self, plan: WalkSettings, pace_m_s: float, disturbances: tuple[Disturbance, ...], rng: np.random.Generator
    ) -> None:
        self._plan, self._pace, self._rng = plan, pace_m_s, rng
        self._waiting = [disturbance for disturbance in disturbances if disturbance.pass_number is not None]
        self._disturbances = [disturbance for disturbance in disturbances if disturbance.pass_number is None]
        self._speeds: list[Floats] = []
        self._steps = 0
        self._speed = 0.0
        self._passes: list[Pass] = []
        self._refills: list[tuple[float, float]] = []

    @property
    def now_s(self) -> float:
        return self._steps * STEP_S

    def stand(self, time_s: float) -> None:
        self._append(self._eased(np.zeros(max(round(time_s / STEP_S), 1))))

    def turn(self) -> None:
        steps = max(round(self._plan.turn_s / STEP_S), 1)
        self._append(self._eased(np.full(steps, self._pace * self._plan.turn_pace)))

    def refill(self) -> None:
        begin = self.now_s
        self.stand(self._plan.refill_s)
        self._refills.append((begin, self.now_s))

    def walk_pass(self, number: int) -> None:
        """Walk until the pass's length has been done; the switch is on for all but the lead."""
        plan, begin = self._plan, self.now_s
        here = [replace(e, at_s=e.at_s + begin, pass_number=None) for e in self._waiting if e.pass_number == number]
        self._disturbances += here
        pace = self._pace * plan.paces[(number - 1) % len(plan.paces)]
        standing = sum(e.lasts_s for e in self._disturbances if e.kind == "stand" and e.end_s > begin)
        length = plan.length_m * plan.lengths[(number - 1) % len(plan.lengths)]
        steps = int((length / (pace * _SLOWEST) + standing) / STEP_S) + 1
        speed = self._eased(self._wanted(pace, begin, min(steps, 200_000)))
        done = int(np.searchsorted(np.cumsum(speed) * STEP_S, length)) + 1
        self._append(speed[:done])
        self._passes.append(Pass(begin + plan.lead_s, self.now_s))

    def _wanted(self, pace: float, begin: float, steps: int) -> Floats:
        t = begin + grid(STEP_S, 1, steps)
        speed = pace * (1.0 + wander(self._rng, steps, STEP_S, 4.0, self._plan.variation))
        speed += pace * _CADENCE_SWING * np.sin(2 * np.pi * _CADENCE_HZ * t)
        for disturbance in self._disturbances:
            if disturbance.kind == "pace":
                speed *= 1.0 + (disturbance.amount - 1.0) * disturbance.strength(t)
            elif disturbance.kind == "stand":
                speed *= 1.0 - disturbance.strength(t)
        standing = [disturbance.strength(t) for disturbance in self._disturbances if disturbance.kind == "stand"]
        slowest = pace * _SLOWEST * (1.0 - np.clip(sum(standing, np.zeros(steps)), 0.0, 1.0))
        return np.maximum(speed, slowest)

    def _eased(self, wanted: Floats) -> Floats:
        """`wanted` as a body follows it, from the speed it has now; at rest in the end when it is zero throughout."""
        eased = Lag(_START_S, STEP_S, self._speed)(wanted)
        return np.where(eased < 0.01, 0.0, eased)

    def _append(self, speed: Floats) -> None:
        self._speeds.append(speed)
        self._steps += len(speed)
        self._speed = float(speed[-1])

    def finish(self, duration_s: float | None) -> Walk:
        speed = np.concatenate([np.zeros(1), *self._speeds])
        end_s = self.now_s if duration_s is None else min(self.now_s, duration_s)
        speed = speed[: round(end_s / STEP_S) + 1]
        t = grid(STEP_S, 0, len(speed))
        passes = tuple(Pass(p.begin_s, min(p.end_s, float(t[-1]))) for p in self._passes if p.begin_s < t[-1])
        return Walk(
            t,
            speed,
            np.cumsum(speed) * STEP_S,
            passes,
            tuple(r for r in self._refills if r[1] < t[-1]),
            tuple(sorted(self._disturbances, key=lambda e: e.at_s)),
        )
