"""What every family of causes is made of: the cause with its words, the rule that calls it, the verdict."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from host.pipeline.columns import Bools
from host.pipeline.faults.droop import Droop
from host.pipeline.faults.signs import Signs

HANDS_OFF = "spray off and pressure released before you touch anything"


@dataclass(frozen=True)
class Cause:
    """One cause. `check` is in order of cheapness; `tell` is the one look or touch that decides among look-alikes."""

    name: str
    words: str
    check: tuple[str, ...]
    tell: str = ""
    dosed: str = "unknown"  # what it does to the ground: under, over, unknown, or none
    urgent: bool = True  # worth a sound
    look_alikes: tuple[str, ...] = ()  # to flow and pressure these are the same, or nearly so
    disturbances: tuple[str, ...] = ()  # of the simulator that are to be called by this name
    not_simulated: str = ""  # why there is none


@dataclass(frozen=True)
class Verdict:
    """A cause, the look-alikes that remain, and how sure it is against them."""

    kind: str
    or_else: tuple[str, ...] = ()
    sure: float = 0.95


@dataclass(frozen=True)
class Evidence:
    """What is known in the moment in which a rule's condition has held for long enough."""

    moved: float  # ln P now against the last steady spraying; NaN when either is unknown
    moved_sd: float  # what it would have moved by itself
    usual: float  # the pressure's share of what the run began with; NaN when either is unknown
    supply_low: bool  # the board has seen a low supply since the condition began
    nearly_empty: bool  # the tank, by the count; where a refill was not recorded it says nothing
    droop: Droop


@dataclass(frozen=True)
class Rule:
    """A fault that shows by itself, without a baseline: a condition per frame, and how long it must hold."""

    name: str
    on_s: float  # for which the condition must hold
    off_s: float  # for which it must have gone
    condition: Callable[[Signs], Bools]
    verdict: Callable[[Evidence], Verdict]
    decided: Callable[[Signs], Bools] | None = None  # frames that say anything about it; none: all do
    explains: bool = False  # what the boom's coefficient does meanwhile comes from this
    confirm_s: float = 0.0  # after it has come on, for which it is a first word and makes no sound
    at_once: bool = False  # known only once it is over
    quiet: bool = False  # worth a word, no sound, whatever it is named
    rank: int = 0  # of two rules that are on at a time and have one, the higher names the one fault; 0: its own fault
    revised_s: tuple[float, ...] = ()  # after it has come on: the verdict is asked for again
    withdrawn: bool = False  # what it called was no fault once its condition has gone
    follows: str = ""  # the rule whose open fault it names anew
    of_pulses: bool = False  # handed to those that follow the coefficient, for their own faults look like it
