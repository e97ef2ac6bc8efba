"""What the sprayer is: the rig file (see RIG_FILE.md), read, checked and frozen."""

from host.rig.model import CalibratedPart, Course, Meter, Nozzles, PressureSensor, Pump, Rig, Target, Tip, Wheel
from host.rig.parse import load_rig, parts_from_sections, rig_from_toml
from host.rig.sensors import filter_arguments

__all__ = [
    "CalibratedPart",
    "Course",
    "Meter",
    "Nozzles",
    "PressureSensor",
    "Pump",
    "Rig",
    "Target",
    "Tip",
    "Wheel",
    "filter_arguments",
    "load_rig",
    "parts_from_sections",
    "rig_from_toml",
]
