"""The verdict on a run, by ground: which share of it got what it should, and only then the mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from host.pipeline import Pass
from host.review.totals import Totals
from host.rig import Rig

_TIMED = "if walked at the timed pace"
GOOD_SHARE = 0.9  # of the ground inside the band: the run is on target


@dataclass(frozen=True)
class Verdict:
    """Shares of the sprayed ground, which make 1 together, and passes whose mean is above the band or below it.

    A pass too short to say so for certain is neither. What is not assigned counts as not known: as large as its ground
    probably was (host.review.hidden_ground). Ground that got nothing although the spray was on, `dry`, is part of what
    is under.
    """

    on: float
    over: float
    under: float
    unknown: float
    heavy: int
    light: int
    dry: float = 0.0
    timed: bool = False  # no wheel measured the ground: all of it holds for a walker at the pace that was timed

    @property
    def good(self) -> bool:
        """Whether the run is on target."""
        return self.on >= GOOD_SHARE

    @property
    def shares(self) -> str:
        """The shares in a few words, those that round to nothing left out: "54 % on target, 46 % under"."""
        named = ((self.over, "over"), (self.under, "under"), (self.unknown, "not known"))
        rest = [f"{100 * share:.0f} % {name}" for share, name in named if share >= 0.005]
        return ", ".join([f"{100 * self.on:.0f} % on target", *rest, *([_TIMED] if self.timed else [])])

    @property
    def message(self) -> str:
        """One sentence, without the mean."""
        counts = [(self.heavy, "heavy"), (self.light, "light")]
        said = [(number, word) for number, word in counts if number]
        passes = ", ".join(
            f"{number} {('passes' if number > 1 else 'pass') + ' ' if first else ''}{word}"
            for (number, word), first in zip(said, (True, False), strict=False)
        )
        unknown = f" What {self.unknown:.0%} of it got is not known.".replace("%", " %") if self.unknown >= 0.01 else ""
        if self.dry >= 0.01:
            dry = f" {self.dry:.0%} of it got nothing: the spray was on, but no water came.".replace("%", " %")
            unknown = dry + unknown
        off, pace = self.over + self.under, f", {_TIMED}" if self.timed else ""
        if off < 1 - GOOD_SHARE:
            return f"On target on {self.on:.0%} of the ground{pace}.".replace("%", " %") + unknown
        much = "Half" if 0.45 <= off <= 0.55 else f"{off:.0%}".replace("%", " %")
        return f"{much} of the ground was off target{pace}{': ' + passes if passes else ''}." + unknown


def verdict_of(totals: Totals, passes: Sequence[Pass], rig: Rig) -> Verdict | None:
    """The verdict; None where nothing is known to have reached the ground."""
    if totals.rate_m3_m2 is None or not totals.area_m2 > 0:
        return None
    whole = totals.area_m2 + totals.hidden_m2 + totals.dry_m2
    on = totals.area_m2 - totals.over_m2 - totals.under_m2 - totals.unknown_m2
    return Verdict(
        on=max(on, 0.0) / whole,
        over=totals.over_m2 / whole,
        under=(totals.under_m2 + totals.dry_m2) / whole,
        unknown=(totals.unknown_m2 + totals.hidden_m2) / whole,
        heavy=sum(one.rate_m3_m2 > rig.target.high_m3_m2 and one.over_m2 > 0 for one in passes),
        light=sum(one.rate_m3_m2 < rig.target.low_m3_m2 and one.under_m2 > 0 for one in passes),
        dry=totals.dry_m2 / whole,
        timed=rig.wheel is None,
    )
