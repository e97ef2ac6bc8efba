"""A fault while it is being followed: an explicit state machine.

```
            open              confirm          settle
   (nothing) ──▶ PROVISIONAL ──────▶ CALLED ◀──────▶ SETTLED
                  │       │            │      grow     │ ▲
         withdraw │       └────────────┴────── end ────┘ │ resume
                  ▼                                ▼     │
              WITHDRAWN                          ENDED ──┘
```

A fault that is settled may still be renamed by what the ends of later passes say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

from host.pipeline.faults.causes import CAUSES, Verdict
from host.pipeline.faults.causes.no_flow import AS_TANK_EMPTIES
from host.pipeline.faults.causes.pulses import FLICKERING, SOON_USUAL, Before
from host.pipeline.faults.causes.sections import OPENED
from host.pipeline.faults.droop import Moved, Turned
from host.pipeline.faults.fault import Fault
from host.pipeline.faults.first_word import nozzles_worth
from host.pipeline.faults.tuning import TUNING


class State(StrEnum):
    """Where an open fault stands."""

    PROVISIONAL = "provisional"  # a first word: the next half second may take it back
    CALLED = "called"  # it stays; the cause may be revised
    SETTLED = "settled"  # the measurement is complete
    ENDED = "ended"
    WITHDRAWN = "withdrawn"  # it was none: a bubble, a dip, the rotor running down


TRANSITIONS: dict[State, tuple[State, ...]] = {
    State.PROVISIONAL: (State.CALLED, State.ENDED, State.WITHDRAWN),
    State.CALLED: (State.CALLED, State.SETTLED, State.ENDED),
    State.SETTLED: (State.SETTLED, State.CALLED, State.ENDED),
    State.ENDED: (State.SETTLED,),
    State.WITHDRAWN: (),
}


@dataclass
class Change:
    """What is known of the change of c behind a fault of the boom."""

    found_s: float = math.nan  # when there was the evidence for it: the word may have come sooner
    even: float = math.inf  # spread of log c before it
    before: Before = field(default_factory=lambda: Before(math.nan, math.nan, math.nan))  # the last step
    frames: int = 0  # in which that was proven
    sudden: bool = False
    while_shut: bool = False  # it came between two passes
    levels: list[float] = field(default_factory=list)  # log c of the frames since the last step
    roughs: list[float] = field(default_factory=list)
    moves: list[Moved] = field(default_factory=list)  # of the pressure, at each step but the last
    move: Moved | None = None  # at the last one
    turns: list[Turned] = field(default_factory=list)  # ends of passes since it began
    judgements: int = 0  # since the last step
    # A step on top, the same way or the other: frames it took, log c before it, when it was found
    second: tuple[int, float, float] | None = None
    back: tuple[int, float, float] | None = None
    beneath: OpenFault | None = None  # what this came on top of, and what may be left when it is over

    def cut_short(self, last: int) -> None:
        """The flow has stopped: the `last` frames were those of a rotor running down."""
        self.second = None
        keep = len(self.levels) - last
        self.levels, self.roughs = self.levels[:keep], self.roughs[:keep]

    @property
    def all_moves(self) -> list[Moved]:
        """Of the pressure, at each step that has been judged."""
        return self.moves if self.move is None else [*self.moves, self.move]

    def telling(self, size: float) -> list[Moved]:
        """What the pressure did at the steps that are large in all of `size` (of ln c). At small ones it says nothing:
        the regulator wanders, and one is found sooner where that makes c look as if it had moved further."""
        most = max(abs(move.after - move.before) for move in self.all_moves)
        large = [move for move in self.all_moves if abs(move.after - move.before) >= 0.5 * most]
        return large if 2.0 * most >= abs(size) else []


@dataclass(eq=False)
class OpenFault:
    """Changes as more is known; `fault` gives it as it is now."""

    number: int
    kind: str
    began_s: float
    called_s: float
    began_m2: float
    state: State = State.PROVISIONAL
    or_else: tuple[str, ...] = ()
    sure: float = 0.5
    heard_s: float | None = None  # from when it is worth a sound, where not from when it was called
    quiet: bool = False  # worth a word, no sound
    slight: bool = False  # neither, until it has been seen to be worth as much as a sound is for
    at_first: Verdict | None = None  # what it is called until it has been judged, where that is not `kind`
    ended_s: float | None = None
    ended_m2: float = math.nan
    before: float = math.nan  # log c
    before_u: float = 0.0
    after: float = math.nan
    against_catch: bool = False
    change: Change = field(default_factory=Change)

    @property
    def settled(self) -> bool:
        """Whether the measurement is complete."""
        return self.state in (State.SETTLED, State.ENDED)

    @property
    def hides_s(self) -> float:
        """Since when these uneven pulses would hide a fall of c that comes; infinity: it is not that."""
        return self.called_s if self.kind == SOON_USUAL else math.inf

    @property
    def whole(self) -> float:
        """c before it over that of the healthy boom: what it came on top of is missing already."""
        beneath = self.change.beneath
        return 1.0 if beneath is None else beneath.whole * math.exp(self.before - beneath.before)

    def lets_fall(self, log_p: float, nozzles: int) -> bool:
        """Whether the pressure, ln P, is no lower than this has left it: more is let out, the reading has moved (by
        twice as much as c), or air lets it fall."""
        change, more = self.change, self.after - self.before
        if self.kind == "air" or not more > 0.0:
            return self.kind == "air"
        if math.expm1(more) * nozzles > TUNING.lost_tip_nozzles:
            return True
        moved = sum(move.by for move in change.all_moves)
        return log_p > change.before.log_p + max(moved, -TUNING.answers_most * more) - TUNING.settled_down

    def name(self, verdict: Verdict) -> None:
        """Name it, or name it anew, without a change of state. An empty tank shows in turn as much else."""
        self.at_first = None
        if not (self.kind == "tank_empty" and verdict.kind in AS_TANK_EMPTIES):
            self.kind, self.or_else, self.sure = verdict.kind, verdict.or_else, verdict.sure

    def weigh(self, least: float, nozzles: int, now_s: float) -> None:
        """A change of c is worth a sound from `least` nozzles' worth on, and stays so, if its cause is."""
        small = self.kind not in FLICKERING and nozzles_worth(self.after - self.before, nozzles) < least
        self.slight = self.slight and small
        silent = self.slight or self.quiet or self.state is State.PROVISIONAL
        if silent or not CAUSES[(self.at_first or self).kind].urgent:
            self.heard_s = None
        elif self.heard_s is None:
            self.heard_s = now_s

    def confirm(self, now_s: float) -> None:
        """A first word is no bubble, no dip and no pass that ends."""
        if self.state is State.PROVISIONAL:
            self.heard_s = now_s
            self._to(State.CALLED)

    def withdraw(self) -> None:
        """It was none."""
        self._to(State.WITHDRAWN)

    def judged(self, *, settled: bool) -> None:
        """It has been looked at for long enough for a first judgement, or for the last one."""
        self.change.judgements = 2 if settled else 1
        self._to(State.SETTLED if settled else State.CALLED)

    def grow(self, before: Before, frames: int, after: float) -> None:
        """More of the same: it is measured anew from the level `before`, and what the pressure did so far is kept."""
        change = self.change
        change.before, change.frames = before, frames
        if change.move is not None:
            change.moves.append(change.move)
            change.move = None
        change.levels, change.roughs, change.judgements = [], [], 0
        self.after = after
        self._to(State.CALLED)

    def take_over(self, verdict: Verdict, now_s: float, *, quiet: bool = False, first_word: bool = False) -> None:
        """A rule explains it better: what was measured of c belongs to that. `first_word`: and is not sure to stay."""
        self.name(verdict)
        self.before, self.quiet, self.slight = math.nan, quiet, False
        if first_word and self.state is State.PROVISIONAL:
            return
        self.heard_s = now_s if self.heard_s is None else self.heard_s
        self._to(State.CALLED)

    def end(self, at_s: float, area_m2: float) -> None:
        """It is over."""
        self.ended_s, self.ended_m2 = at_s, area_m2
        self._to(State.ENDED)

    def uncovered(self, over: Change) -> OpenFault:
        """Itself: what came on top of it, `over`, has ended, and the last levels of that say whether this is there."""
        change = self.change
        change.levels, change.roughs, change.second, change.back = over.levels, over.roughs, None, None
        change.judgements = 2
        self.resume()
        return self

    def resume(self) -> None:
        """The same again after a short calm."""
        self.ended_s, self.ended_m2 = None, math.nan
        self._to(State.SETTLED)

    def _to(self, state: State) -> None:
        assert state in TRANSITIONS[self.state], f"fault {self.number} cannot go from {self.state} to {state}"
        self.state = state

    def fault(self, area_m2: float, nozzles: int) -> Fault:
        """The fault for others to see; `area_m2` is what has been sprayed so far."""
        change = math.expm1(self.after - self.before) if math.isfinite(self.after - self.before) else None
        u = math.hypot(TUNING.level_u, self.before_u) * (1.0 + (change or 0.0))
        end = area_m2 if self.ended_s is None else self.ended_m2
        called = self.at_first or Verdict(self.kind, self.or_else, self.sure)
        worth = nozzles * self.whole
        if called.kind == OPENED:  # of what sprays since
            worth /= 1.0 + (change or 0.0)
        return Fault(
            number=self.number,
            kind=called.kind,
            or_else=called.or_else,
            sure=called.sure,
            began_s=self.began_s,
            called_s=self.called_s,
            ended_s=self.ended_s,
            change=change,
            change_u=None if change is None else u,
            nozzles=None if change is None else abs(change) * worth,
            nozzles_u=None if change is None else u * worth,
            area_m2=max(end - self.began_m2, 0.0),
            settled=self.settled,
            provisional=self.state is State.PROVISIONAL,
            heard_s=self.heard_s,
            quiet=self.quiet or self.slight,
            against_catch=self.against_catch,
        )
