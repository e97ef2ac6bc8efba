"""From a step of the boom's coefficient to its cause: what the pressure did at the same time, and how rough it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from host.pipeline.faults.causes import LOOK_ALIKE

SETTLED_FRAMES = 20  # after the step, from which a first judgement is made
FINAL_FRAMES = 30
LAG_FRAMES = 6
ROUGH = 2.5  # times the run's own noise: air or false pulses, not an orifice
ROUGH_PRESSURE = 2.0
SPREAD = 2.5  # the same, for frames of which only some are spoilt
PULSES_ONLY = 4.0  # standard deviations: where the pressure has moved as far, it is not just the pulses
HOLD = 0.6  # of two causes the one that has been said stands until the other is this likely
WEAR = 0.9  # nozzles' worth on top that worn tips let through at most (our own design figure)
LOST_TIP = 2.2  # nozzles' worth that a bare nozzle body lets through on top at least (our own design figure)


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


@dataclass(frozen=True)
class Verdict:
    """A cause, the look-alikes that remain, and how sure it is against them."""

    kind: str
    or_else: tuple[str, ...]
    sure: float


def rough(before: Before, after: After) -> Verdict | None:
    """Whether it is air or false or missing pulses; None when it is as steady as before."""
    step = after.log_c - before.log_c
    fewer = min(math.exp(step), 1.0)  # as many times fewer pulses make a report as many times noisier
    if after.rough * fewer >= ROUGH or after.spread * fewer >= SPREAD * before.spread:
        if after.log_p_step >= ROUGH_PRESSURE * before.log_p_step:
            return Verdict("air", (), 0.9)
        if abs(after.moved) < PULSES_ONLY * after.moved_sd:
            return Verdict("meter_noise", (), 0.9) if step > 0 else Verdict("meter_missing", ("air",), 0.8)
    return None


def judge(likelihoods: dict[str, float], step: float, sudden: bool, nozzles: int, held: str = "") -> Verdict:
    """The cause of a change of ln c by `step`, from how likely it is by each part (see droop.Droop).

    `held` is what has been said before: it stands until another is clearly more likely.
    """
    odds = dict(likelihoods)
    if step > 0:
        odds["meter"] = 0.0  # no rotor turns faster by itself
    total = sum(odds.values())
    if total <= 0:
        odds, total = {**dict.fromkeys(odds, 0.0), "orifice": 1.0}, 1.0
    best = max(odds, key=lambda name: odds[name])
    names = {
        "orifice": "clog" if step < 0 else _rising(step, nozzles, sudden),
        "meter": "meter_low",
        "transducer": "transducer_drift",
    }
    for name, kind in names.items():
        if kind == held and odds[best] < HOLD * (odds[best] + odds[name]):
            best = name
    if best == "orifice" and step > 0:
        return Verdict(names[best], LOOK_ALIKE[names[best]], 0.75)
    others = tuple(names[name] for name in odds if name != best and odds[name] / total > 0.1)
    return Verdict(names[best], others, odds[best] / total)


def _rising(step: float, nozzles: int, sudden: bool) -> str:
    worth = math.expm1(step) * nozzles
    if sudden:  # tips wear over days
        return "lost_tip" if worth > LOST_TIP else "leak"
    return "leak" if worth > WEAR else "wear"
