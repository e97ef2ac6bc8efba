"""What a fault of the boom is called: from its size, and from all that the pressure has said since it began."""

from __future__ import annotations

from host.pipeline.faults.causes.boom import RISEN, judge, slowly, unseen
from host.pipeline.faults.causes.sections import OPENED, opened_or, opened_share
from host.pipeline.faults.droop import Droop
from host.pipeline.faults.open_fault import OpenFault
from host.pipeline.faults.tuning import TUNING


class Naming:
    """`log_size` is ln c of the whole boom as a catch test gives it, or as the nozzles' size lets expect."""

    def __init__(self, nozzles: int, droop: Droop, log_size: float) -> None:
        self.nozzles, self.droop, self._log_size = nozzles, droop, log_size

    def name(self, fault: OpenFault) -> None:
        """Name it, or name it anew."""
        change, size = fault.change, fault.after - fault.before
        moves = change.telling(size)
        silent = not moves and (self.droop.behind_valve or not change.turns)
        if silent or not all(self.droop.answers(move) for move in moves):
            fault.name(unseen(size, self.nozzles))
            return
        likelihoods = self.droop.likelihoods(moves, change.turns)
        shut, called = change.while_shut and not change.moves, fault.kind if fault.settled else ""
        verdict = judge(likelihoods, size, change.sudden, self.nozzles, called, while_shut=shut)
        if change.sudden and verdict.kind in RISEN:
            verdict = opened_or(
                verdict, opened_share(size, fault.before - self._log_size, self.nozzles, while_shut=shut)
            )
        fault.name(slowly(verdict) if fault.quiet else verdict)

    @staticmethod
    def let_go(fault: OpenFault, *, passed: bool) -> bool:
        """Whether the level from before it is to be forgotten, for it was that of a part of the boom. Where a tip may
        be lost as well, once the pass in which it was said has `passed`."""
        return fault.kind == OPENED and fault.settled and (passed or fault.sure >= TUNING.sure)
