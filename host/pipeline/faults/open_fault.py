"""A fault while it is being followed."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from host.pipeline.faults.fault import Fault
from host.pipeline.faults.tuning import TUNING


@dataclass
class Opened:
    """Changes as more is known; `told` gives it as it stands."""

    number: int
    kind: str
    began_s: float
    called_s: float
    began_m2: float
    or_else: tuple[str, ...] = ()
    sure: float = 0.5
    ended_s: float | None = None
    ended_m2: float = math.nan
    before: float = math.nan  # log c
    before_u: float = 0.0
    after: float = math.nan
    final: bool = False
    against_catch: bool = False
    levels: list[float] = field(default_factory=list)  # log c of the frames since, for the boom's changes
    roughs: list[float] = field(default_factory=list)

    def told(self, area_m2: float, nozzles: int) -> Fault:
        """The fault for others to see; `area_m2` is what has been sprayed so far."""
        change = math.expm1(self.after - self.before) if math.isfinite(self.after - self.before) else None
        u = math.hypot(TUNING.level_u, self.before_u) * (1.0 + (change or 0.0))
        end = area_m2 if self.ended_s is None else self.ended_m2
        return Fault(
            number=self.number,
            kind=self.kind,
            or_else=self.or_else,
            sure=self.sure,
            began_s=self.began_s,
            called_s=self.called_s,
            ended_s=self.ended_s,
            change=change,
            change_u=None if change is None else u,
            nozzles=None if change is None else abs(change) * nozzles,
            nozzles_u=None if change is None else u * nozzles,
            area_m2=max(end - self.began_m2, 0.0),
            final=self.final,
            against_catch=self.against_catch,
        )
