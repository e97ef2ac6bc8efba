"""Frames in, signals out: the one computation behind the live page and every later reading of a run.

Every stage takes arrays and carries its state from call to call, so that any way of cutting the input gives the same
numbers to the last bit. That rules out whole-run statistics and pairwise sums: sums run strictly from front to back.
"""

from host.pipeline.columns import Signals, joined
from host.pipeline.faults.fault import Fault
from host.pipeline.live import ADVICE, live_row
from host.pipeline.on_ground import Pass, Settled, Unassigned, ends_u_m, settled_rows, stops_u_m3
from host.pipeline.pipeline import Pipeline
from host.pipeline.refused import Refused
from host.pipeline.rows import Why

__all__ = [
    "ADVICE",
    "Fault",
    "Pass",
    "Pipeline",
    "Refused",
    "Settled",
    "Signals",
    "Unassigned",
    "Why",
    "ends_u_m",
    "joined",
    "live_row",
    "settled_rows",
    "stops_u_m3",
]
