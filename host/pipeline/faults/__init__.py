"""What is wrong, while it can still be put right: see FAULTS.md."""

from host.pipeline.faults.alarm import Alarm, AlarmEvent
from host.pipeline.faults.causes import CAUSES
from host.pipeline.faults.fault import Fault

__all__ = [
    "CAUSES",
    "Alarm",
    "AlarmEvent",
    "Fault",
]
