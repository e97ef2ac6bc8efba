"""From a step of the boom's coefficient to its cause: what the pressure did at the same time, and how rough it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from host.pipeline.faults.causes import LOOK_ALIKE
from host.pipeline.faults.tuning import TUNING


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
    if after.rough * fewer >= TUNING.rough or after.spread * fewer >= TUNING.rough_spread * before.spread:
        if after.log_p_step >= TUNING.rough_pressure * before.log_p_step:
            return Verdict("air", (), 0.9)
        if abs(after.moved) < TUNING.pulses_only_sigmas * after.moved_sd:
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
        if kind == held and odds[best] < TUNING.hold_odds * (odds[best] + odds[name]):
            best = name
    if best == "orifice" and step > 0:
        return Verdict(names[best], LOOK_ALIKE[names[best]], 0.75)
    others = tuple(names[name] for name in odds if name != best and odds[name] / total > 0.1)
    return Verdict(names[best], others, odds[best] / total)


def _rising(step: float, nozzles: int, sudden: bool) -> str:
    worth = math.expm1(step) * nozzles
    if sudden:  # tips wear over days
        return "lost_tip" if worth > TUNING.lost_tip_nozzles else "leak"
    return "leak" if worth > TUNING.wear_nozzles else "wear"
