"""Whole nozzles that give nothing, or give something again: a boom's sections have valves of their own."""

from __future__ import annotations

import math

from host.pipeline.faults.causes.cause import HANDS_OFF, Cause, Rule, Verdict
from host.pipeline.faults.tuning import TUNING

OPENED = "section_open"
CAUSES = (
    Cause(
        "section_shut",
        "no flow from some nozzles: a section valve, or clogs",
        (
            "look which fans are missing: all of a section, and was it shut on purpose?",
            "if it was shut on purpose, that strip was narrower and got about the right rate: do not spray it again",
            "look at that section's valve and hose",
            f"clean tips and screens with a brush, {HANDS_OFF}",
        ),
        "all fans whole: the flow meter reads low, not the boom",
        "under",
        look_alikes=("clog",),
        not_simulated="no event waits for the boom to be shut; clogs of whole nozzles between two passes are the same",
    ),
    Cause(
        OPENED,
        "some nozzles spray only now: a section was opened, or clogs are gone",
        (
            "look along the boom: are all fans alike, with no jet and no drip?",
            "until now some nozzles gave nothing: was their section shut on purpose? If not, that strip got too little",
        ),
        "one jet instead of a fan: a tip is lost",
        "none",
        look_alikes=("lost_tip", "leak"),
        not_simulated="it is no fault of the sprayer; clogs that are there from the start and go are the same",
    ),
)
RULES: tuple[Rule, ...] = ()


def whole_nozzles(step: float, nozzles: int) -> bool:
    """Whether ln c has fallen by `step` as if several of the nozzles, and not all of them, gave nothing: of one alone a
    clog is the likelier."""
    return _number(-math.expm1(step) * nozzles, nozzles) > 1


def whole_share(nozzles: int) -> float:
    """How much of all that c may fall by looks like whole nozzles, several and not all."""
    return sum(2 * TUNING.whole_off + _short(number, nozzles) for number in range(2, nozzles)) / nozzles


def _number(worth: float, nozzles: int) -> int:
    """How many of the nozzles, and not all, are as much as `worth` of them; 0: no whole number is."""
    number = round(worth)
    least = number - TUNING.whole_off - _short(number, nozzles)
    return number if 1 <= number < nozzles and least < worth < number + TUNING.whole_off else 0


def _short(number: int, nozzles: int) -> float:
    """How many nozzles' worth c may fall by less when so many are shut: what valve and hoses between the transducer and
    the boom take of the pressure goes with the flow squared, so those that are left give more. With the part a of it
    and the share s left: c goes to s·√((1 + a)/(1 + a·s²)) ≈ s + s·a·(1 - s²)/2."""
    left = 1.0 - number / nozzles
    return 0.5 * TUNING.valve_takes * nozzles * left * (1.0 - left * left)


def opened_share(step: float, off_before: float, nozzles: int, *, while_shut: bool) -> float:
    """How likely a sudden rise of ln c by `step` made the boom whole, and did not open a whole one further: 0 to 1.

    `off_before`: ln c before it, off that of all nozzles by their size, NaN where it is not known; `while_shut`: it
    came while the boom was shut.
    """
    opened = -math.expm1(-step) * nozzles  # that spray only since then, if all do now
    number = _number(opened, nozzles)
    if not number:
        return 0.0
    # Of all that a leak or a lost tip lets through, so much looks like whole nozzles.
    odds = 1.0 / (2 * TUNING.whole_off + _short(number, nozzles))
    if number == 1 and not while_shut:
        odds *= TUNING.one_opens
    if math.isfinite(off_before):
        odds *= _by_size(off_before + step) / _by_size(off_before)
    return odds / (1.0 + odds)


def opened_or(risen: Verdict, share: float) -> Verdict:
    """What a rise of ln c is called that has made the boom whole, as likely as `share`, or else is as in `risen`."""
    if share >= TUNING.sure:
        return Verdict(OPENED, (), min(share, TUNING.whole_most))
    if share > 0.5:
        return Verdict(OPENED, (risen.kind,), min(share, TUNING.either_most))
    if share > 0.1:
        return Verdict(risen.kind, (OPENED, *risen.or_else), min(1.0 - share, TUNING.either_most))
    return risen


def _by_size(off: float) -> float:
    """Density of ln c of a whole boom, `off` what its nozzles' size and the meter's factor let expect: now and then a
    rig has a factor or a tip that is far from the sprayer's."""
    near = math.exp(-0.5 * (off / TUNING.size_sd) ** 2) / (TUNING.size_sd * math.sqrt(2 * math.pi))
    return (1.0 - TUNING.size_wild) * near + TUNING.size_wild / (2 * TUNING.size_far)
