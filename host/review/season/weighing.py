"""Whose a change is: each cause that could have made it, by how likely it makes what was seen; what would decide.

Everything counts at once: flow at one pressure, tank balances, what the transducer reads with the pump off and between
two pressures, catch tests and cards, and the faults that the runs' own reviews found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from host.documents.words import percent, plural
from host.review.season.candidates import Candidates, fits
from host.review.season.changes import FILLING, LONE, METER, NOZZLES, STRAINER, TANK, ZERO, Change
from host.review.season.observations import BALANCE
from host.review.season.search import Explained

NAMED_AT = 20.0  # odds; less is said as causes that cannot be told apart
_MOST_ODDS = 1000.0  # nothing that is assumed here is surer
_MOST_MORE = 60
_SURE = 6.0  # the logarithm of odds that more observations are to bring: those asked for, and as much again for luck
_FAULT = 20.0  # a fault that the review of one of the first runs found: so many times as likely the nozzles
_NEAR = 2


@dataclass(frozen=True)
class Weighed:
    """Causes with their shares of the likelihood, the greatest first, and what would tell the first ones apart."""

    shares: tuple[tuple[str, float], ...]
    decides: str = ""

    @property
    def suspects(self) -> tuple[str, ...]:
        """The fewest that it is one of at the odds asked for; a single one when it is named."""
        within = 0.0
        for count, (_, share) in enumerate(self.shares, start=1):
            within += share
            if within >= NAMED_AT * (1.0 - within):
                return tuple(cause for cause, _ in self.shares[:count])
        return tuple(cause for cause, _ in self.shares)

    @property
    def odds(self) -> float:
        """Of the likeliest against all others."""
        rest = math.fsum(share for _, share in self.shares[1:])
        return min(self.shares[0][1] / max(rest, 1e-12), 10 * _MOST_ODDS)

    @property
    def words(self) -> str:
        """As people say odds: "meter, 200 : 1"."""
        if self.odds < 1.5:
            return f"{' or '.join(self.suspects)}, even odds"
        return f"{self.shares[0][0]}, {self.odds_text}"

    @property
    def odds_text(self) -> str:
        """Those of the likeliest alone: "200 : 1"."""
        odds = f"{self.odds:.2g}" if self.odds < 10.0 else f"{self.odds:.0f}"
        return f"{odds if self.odds < _MOST_ODDS else f'more than {_MOST_ODDS:.0f}'} : 1"


def weigh(found: Explained, change: Change, size: float, faults: Sequence[bool]) -> Weighed:
    """The causes of one of the changes found, of this size in the boom's flow (as a logarithm), the others as they are.

    `faults` says of each item whether its review found a nozzle at fault.
    """
    others = [one for one in found.changes if one != change]
    model = found.model(others)
    logs = []
    for cause in found.seen.causes:
        if cause in LONE:
            continue
        near = [one for by in range(-_NEAR, _NEAR + 1) if fits(found.seen, one := _as(change, cause, by))]
        if not near:
            continue
        further = Candidates.of(found.seen, near)
        worth = model.gains(further)[0] + further.worth
        if cause == NOZZLES and size < 0 and any(faults[change.first : change.first + 3]):
            worth += math.log(_FAULT)
        logs.append((cause, float(np.logaddexp.reduce(worth))))
    total = float(np.logaddexp.reduce([worth for _, worth in logs]))
    shares = sorted(((cause, math.exp(worth - total)) for cause, worth in logs), key=lambda one: -one[1])
    weighed = Weighed(tuple(shares))
    return replace(weighed, decides=_decides(found, change, size, weighed))


def _as(change: Change, cause: str, by: int) -> Change:
    """The same change of another cause, begun (and, come at once, ended) some items later."""
    last = change.last + by if change.step else change.last
    even = change.power if cause in FILLING else min(change.power, 1)
    return replace(change, cause=cause, first=change.first + by, last=last, power=even)


def _decides(found: Explained, change: Change, size: float, weighed: Weighed) -> str:
    """What would tell the suspects apart; empty where one is named."""
    suspects = weighed.suspects
    if len(suspects) < 2:
        return ""
    ways = []
    if METER in suspects and not set(suspects) <= {METER, TANK}:  # balances show both of these
        ways += [words for words in (_balances(found, change, size, weighed.odds),) if words]
    if ZERO in suspects:
        ways += ["a run at two pressures", "what the transducer reads with the pump off"]
    if NOZZLES in suspects:
        ways.append("a catch test")
    if TANK in suspects:
        ways.append("calibrating the meter")
    if STRAINER in suspects:
        ways.append("a look into the strainers")
    return f"{', '.join(ways[:-1])} or {ways[-1]}" if len(ways) > 1 else ways[0] if ways else "a catch test"


def _balances(found: Explained, change: Change, size: float, odds: float) -> str:
    """How many more balances would show it, or would not; empty where no number would, or none were made before.

    What they have shown so far is in the odds; each more adds to 1/(1/before + 1/after), and that to their logarithm.
    """
    seen = found.seen
    before, after = seen.on_both_sides(BALANCE, change.first)
    if not before or size == 0.0:
        return ""
    scatter = float(np.median(seen.u[seen.block == BALANCE]))
    lacking = 2.0 * (scatter / size) ** 2 * (_SURE - math.log(odds))
    balanced = lacking + 1.0 / (1.0 / before + 1.0 / max(after, 1e-9))
    more = math.ceil(1.0 / (1.0 / balanced - 1.0 / before)) - after if balanced < before else 0
    if not 0 < more <= _MOST_MORE:
        return ""
    return f'{plural(more, "more balance")} ("tank left") that scatter by {percent(scatter, 1)}'
