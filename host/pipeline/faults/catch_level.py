"""A boom that is off its catch test from the start."""

from __future__ import annotations

from collections.abc import Callable

from host.pipeline.columns import Floats
from host.pipeline.faults.boom_history import HOST, before_step
from host.pipeline.faults.causes.boom import off_catch
from host.pipeline.faults.open_fault import OpenFault

Opener = Callable[[str, float, float, float], OpenFault]


def fault_against(
    catch: tuple[float, float], baseline: float, rows: Floats, opener: Opener, nozzles: int
) -> OpenFault | None:
    """The fault that the learned `baseline` (log c) shows against `catch`, log c and its standard uncertainty; `rows`
    are the last frames, as BoomHistory has them."""
    caught, caught_u = catch
    verdict = off_catch(baseline - caught, caught_u, nozzles)
    if verdict is None:
        return None
    now_s = float(rows[HOST, -1])
    fault = opener(verdict.kind, now_s, now_s, 0.0)
    fault.before, fault.before_u, fault.after, fault.against_catch = caught, caught_u, baseline, True
    fault.change.before = before_step(caught, rows)
    fault.change.even = fault.change.before.spread
    fault.name(verdict)
    fault.confirm(now_s)
    fault.judged(settled=True)
    return fault
