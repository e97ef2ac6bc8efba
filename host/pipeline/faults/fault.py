"""One fault as it stands: when, how sure, how much, and what to do."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from host.pipeline.faults.causes import CAUSES
from host.pipeline.faults.causes.sections import OPENED
from host.pipeline.faults.tuning import TUNING


@dataclass(frozen=True)
class Fault:
    """What the watch has called. Times are host seconds from the start of the run."""

    number: int  # counts from 1 in each run
    kind: str  # a key of causes.CAUSES
    or_else: tuple[str, ...]  # kinds that the measurements cannot rule out
    sure: float  # 0 to 1, that it is `kind` rather than one of `or_else`
    began_s: float
    called_s: float
    ended_s: float | None
    change: float | None  # of the boom's coefficient, relative
    change_u: float | None  # its standard uncertainty
    nozzles: float | None  # how many nozzles' worth, positive
    nozzles_u: float | None
    area_m2: float  # sprayed since it began; not a number where no ground is known
    settled: bool  # the measurement is complete
    provisional: bool = False  # a first word, which the next half second may take back
    quiet: bool = False  # worth a word, no sound
    heard_s: float | None = None  # from when it is worth a sound, where not from when it was called
    against_catch: bool = False  # there from the start: held against the catch test, not against what was before

    @property
    def words(self) -> str:
        """The fault in a few words, with its size and what else it might be."""
        cause = CAUSES[self.kind].words
        if self.kind == "clog" and self.nozzles is not None:
            cause += f", about {self.nozzles:.1f} nozzles' worth"
        if self.kind == "section_shut" and self.nozzles and self.change:
            cause = cause.replace("some", f"{self.nozzles:.0f} of {self.nozzles / abs(self.change):.0f}")
        if self.kind == OPENED and self.nozzles and self.change:
            whole = self.nozzles * (1.0 + self.change) / self.change
            cause = cause.replace("some", f"{self.nozzles:.0f} of {whole:.0f}").replace("1 of", "one of")
        if self.or_else and self.sure < TUNING.sure:
            cause += ", or " + " or ".join(CAUSES[kind].words for kind in self.or_else)
        return f"perhaps: {cause}" if self.provisional else cause

    @property
    def urgent(self) -> bool:
        """Whether it is worth a sound."""
        told = self.kind == OPENED and not self.or_else  # somebody's hand has done that
        return CAUSES[self.kind].urgent and not self.provisional and not self.quiet and not told

    @property
    def dosed(self) -> str:
        """What the ground got since it began: under, over, unknown or none."""
        return CAUSES[self.kind].dosed

    def row(self, now_s: float) -> dict[str, Any]:
        """Ready for JSON, SI units in the keys; `since_s` counts up to `now_s` or to the end."""
        end = self.ended_s if self.ended_s is not None else now_s
        cause = CAUSES[self.kind]
        return {
            "number": self.number,
            "kind": self.kind,
            "words": self.words,
            "or_else": list(self.or_else),
            "sure": round(self.sure, 3),
            "began_s": self.began_s,
            "called_s": self.called_s,
            "ended_s": self.ended_s,
            "since_s": max(end - self.began_s, 0.0),
            "change": self.change,
            "change_u": self.change_u,
            "nozzles": self.nozzles,
            "nozzles_u": self.nozzles_u,
            "area_m2": self.area_m2 if math.isfinite(self.area_m2) else None,
            "dosed": self.dosed,
            "against": "catch test" if self.against_catch else "run before",
            "check_first": list(cause.check),
            "tell": cause.tell,
            "urgent": self.urgent,
            "provisional": self.provisional,
        }
