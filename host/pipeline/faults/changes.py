"""From a step of the boom's coefficient to its cause: what the pressure did at the same time, and how rough it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from host.pipeline.faults.causes import LOOK_ALIKE

SETTLED_FRAMES = 20  # after the step, from which a first judgement is made
FINAL_FRAMES = 30
PRESSURE_SD = 0.02  # of ln P between two stretches of some seconds: the regulator wanders, the ground shakes
LAG_FRAMES = 6
ROUGH = 2.5  # times the run's own noise: air or false pulses, not an orifice
ROUGH_PRESSURE = 2.0
SPREAD = 2.5  # the same, for frames of which only some are spoilt
PULSES_ONLY = 4.0  # standard deviations: where the pressure has moved as far, it is not just the pulses
LOST_TIP = 2.2  # nozzles' worth that a bare nozzle body lets through on top at least (our own design figure)
_RANGE = 0.12, 0.06  # of small bypass regulators before anything has been learned (our own design figure)


@dataclass(frozen=True)
class Before:
    """How things were before a step: means over the last frames before it."""

    log_c: float
    log_p_step: float  # median change of ln P from frame to frame
    spread: float  # standard deviation of log c from frame to frame


@dataclass(frozen=True)
class After:
    """How they are after it, and how they were measured."""

    log_c: float
    moved: float  # change of ln P at the step
    moved_sd: float  # what it would have moved by itself
    log_p_step: float
    rough: float  # median
    spread: float
    frames: int
    fast: bool  # came within seconds


@dataclass(frozen=True)
class Verdict:
    """A cause, the look-alikes that remain, and how sure it is against them."""

    kind: str
    or_else: tuple[str, ...]
    sure: float


class Droop:
    """How much the pressure rises when the boom takes less, learned from what it does when the spray is shut off.

    With a spring-loaded bypass P falls in a straight line with the boom's flow, so the rise at no flow is the droop.
    """

    def __init__(self) -> None:
        self._rises: list[float] = []

    def learn(self, on_pa: float, off_pa: float) -> None:
        """Take in one end of a pass: mean pressure before and after."""
        if on_pa > 0:
            self._rises = [*self._rises[-8:], off_pa / on_pa - 1.0]

    @property
    def value(self) -> tuple[float, float]:
        """Droop and its standard uncertainty; NaN when the transducer sits behind the boom valve."""
        if not self._rises:
            return _RANGE
        middle = float(np.median(self._rises))
        if middle < -0.3:
            return math.nan, math.nan
        return max(middle, 0.0), max(0.02, 0.05 / len(self._rises) ** 0.5)


def judge(before: Before, after: After, nozzles: int, droop: tuple[float, float]) -> Verdict:
    """The cause of a step from `before` to `after`."""
    step = after.log_c - before.log_c
    moved, spread = after.moved, after.moved_sd
    fewer = min(math.exp(step), 1.0)  # as many times fewer pulses make a report as many times noisier
    if after.rough * fewer >= ROUGH or after.spread * fewer >= SPREAD * before.spread:
        if after.log_p_step >= ROUGH_PRESSURE * before.log_p_step:
            return Verdict("air", (), 0.9)
        if abs(moved) < PULSES_ONLY * spread:
            return Verdict("meter_noise", (), 0.9) if step > 0 else Verdict("meter_missing", ("air",), 0.8)
    orifice = _expected(step, droop[0])
    odds = {
        "orifice": _density(moved, orifice, math.hypot(spread, droop[1] * abs(step))),
        "meter": _density(moved, 0.0, spread) if step < 0 else 0.0,
        "transducer": _density(moved, -2.0 * step, spread),
    }
    total = sum(odds.values())
    if total <= 0:
        odds, total = {"orifice": 1.0}, 1.0
    best = max(odds, key=lambda name: odds[name])
    names = {
        "orifice": "clog" if step < 0 else _rising(step, nozzles, after.fast),
        "meter": "meter_low",
        "transducer": "transducer_drift",
    }
    if best == "orifice" and step > 0:
        return Verdict(names[best], LOOK_ALIKE[names[best]], 0.75)
    others = tuple(names[name] for name in odds if name != best and odds[name] / total > 0.1)
    return Verdict(names[best], others, odds[best] / total)


def together(earlier: Verdict, later: Verdict) -> Verdict:
    """One verdict from two steps of the same fault, each judged by what the pressure did then: their odds multiply."""
    if later.kind != earlier.kind and later.kind not in earlier.or_else:
        return earlier if earlier.sure >= later.sure else later
    agrees = later.sure if later.kind == earlier.kind else 1.0 - later.sure
    odds = earlier.sure / max(1.0 - earlier.sure, 1e-6) * agrees / max(1.0 - agrees, 1e-6)
    sure = odds / (1.0 + odds)
    if sure >= 0.5:
        return Verdict(earlier.kind, earlier.or_else, sure)
    return Verdict(later.kind, later.or_else, 1.0 - sure)


def _rising(step: float, nozzles: int, fast: bool) -> str:
    worth = math.expm1(step) * nozzles
    if worth > 0.9:
        return "lost_tip" if worth > LOST_TIP else "leak"
    return "leak" if fast and worth > 0.45 else "wear"


def _expected(step: float, droop: float) -> float:
    """Change of ln P that a change of the boom's opening by `step` (of ln c) brings: P'/P = 1 + droop·(1 - Q'/Q)."""
    if math.isnan(droop):
        return 0.0
    pressure = 1.0
    for _ in range(8):
        pressure = max(1.0 + droop * (1.0 - math.exp(step) * pressure**0.5), 0.05)
    return math.log(pressure)


def _density(value: float, mean: float, spread: float) -> float:
    return math.exp(-0.5 * ((value - mean) / spread) ** 2) / spread
