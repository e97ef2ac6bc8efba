"""Single runs that stand out: findings of their own, kept out of every fit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from host.documents.document import quantity
from host.documents.words import percent
from host.review.digest import Digest

LONE_RUN, LONE_TANK = "one run stands out", "one tank balance stands out"

_REFILL = 1.3  # metered over drawn: more is a refill that nobody recorded
_REASONS = {"clog": "a clog", "air": "air in the suction", "leak": "a leak", "lost_tip": "a lost tip"}


@dataclass(frozen=True)
class Finding:
    """One change: its kind, the days it spans (equal for a step), its size as a fraction and standard uncertainty."""

    kind: str
    first_day: str
    last_day: str
    change: float
    change_u: float
    sentence: str


@dataclass(frozen=True)
class LoneRun:
    """A run, how far it stands from those beside it (as a logarithm), and the scatter of the others."""

    digest: Digest
    apart: float
    scatter: float


def lone_findings(boom: Sequence[LoneRun], tank: Sequence[LoneRun]) -> list[Finding]:
    """A finding for each run; one whose boom stands out is not told again for its balance."""
    told = {one.digest.started for one in boom}
    return [_boom(one) for one in boom] + [_tank(one) for one in tank if one.digest.started not in told]


def _boom(one: LoneRun) -> Finding:
    found = [words for kind, words in _REASONS.items() if kind in one.digest.fault_kinds]
    why = f"its review found {' and '.join(found)}" if found else "look at that run: a clog, air or a wrong valve"
    return _finding(LONE_RUN, one, f"flow at the same pressure is {_size(one)} there alone; {why}")


def _tank(one: LoneRun) -> Finding:
    ratio = math.exp(one.apart)
    words = f"the meter reads {_size(one)} against the tank there alone"
    if ratio < _REFILL:
        return _finding(LONE_TANK, one, f"{words}: look at how the tank was read")
    missing = quantity(one.digest.volume_m3 * (1.0 - 1.0 / ratio), "volume", one.digest.units).text
    return _finding(LONE_TANK, one, f"{words}: a refill of about {missing} was not recorded?")


def _size(one: LoneRun) -> str:
    return f"{percent(abs(math.expm1(one.apart)), 1)} {'higher' if one.apart > 0 else 'lower'}"


def _finding(kind: str, one: LoneRun, words: str) -> Finding:
    day = one.digest.date
    # Of the run itself, and of the median of six beside it (efficiency of a median: 2/pi).
    u = one.scatter * math.sqrt(1.0 + math.pi / 12.0)
    return Finding(kind, day, day, math.expm1(one.apart), u, f"on {day} {words}")
