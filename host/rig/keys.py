"""Every key that a rig file may hold: its kind, the limits of what is believable, its default."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Key:
    """One key of the rig file.

    `kind` is a kind of host.units, or "name", "system", "yes/no", "whole number", "pair of …", "table" of `columns`.
    `low` and `high` bound every number in it (SI). `default` is in the words of the file; None means that the key may
    be left out and is then absent; `required` that it may not.
    """

    kind: str
    low: float = 0.0
    high: float = float("inf")
    required: bool = False
    default: str | int | bool | tuple[str, ...] | None = None
    columns: tuple[Key, ...] = ()


_PASCAL_PER_BAR = 1e5
_FLOW = (1e-8, 1e-2)  # m³/s: from a drop to 600 L/min
_PRESSURE = (100.0, 100 * _PASCAL_PER_BAR)
_FACTOR = (1e2, 1e8)  # pulses per m³: 0.1 to 100,000 pulses per litre
_TIP = {
    "flow": Key("flow", *_FLOW),
    "at": Key("pressure", *_PRESSURE),
    "points": Key("table", columns=(Key("pressure", *_PRESSURE), Key("flow", *_FLOW))),
    "range": Key("pair of pressure", 0.0, _PRESSURE[1]),
}

# section -> key -> what it holds; "" is the top of the file.
KEYS: dict[str, dict[str, Key]] = {
    "": {
        "name": Key("name", required=True),
        "units": Key("system", default="us"),
        "spray_switch": Key("yes/no", default=False),
    },
    "tank": {"volume": Key("volume", 1e-4, 20.0, required=True)},
    "pump": {
        "open_flow": Key("flow", *_FLOW),
        "shutoff_pressure": Key("pressure", *_PRESSURE),
        "points": Key("table", columns=(Key("pressure", 0.0, _PRESSURE[1]), Key("flow", 0.0, _FLOW[1]))),
        "switch_pressure": Key("pressure", *_PRESSURE),
    },
    "boom": {
        "nozzles": Key("whole number", 1, 200, required=True),
        "spacing": Key("length", 0.01, 5.0, required=True),
        "swath": Key("length", 0.01, 100.0),
    },
    "nozzle": {"name": Key("name"), **_TIP},
    "tip": {"name": Key("name", required=True), **_TIP},
    "meter": {
        "factor": Key("pulses_per_volume", *_FACTOR),
        "curve": Key("table", columns=(Key("frequency", 0.01, 1e5), Key("pulses_per_volume", *_FACTOR))),
        "uncertainty": Key("fraction", 0.0, 0.5, default="1 %"),
        "caught": Key("pair of frequency", 0.01, 1e5),
    },
    "pressure": {
        "span": Key("pair of pressure", -_PASCAL_PER_BAR, 1000 * _PASCAL_PER_BAR, required=True),
        "output": Key("pair of ratio", -0.5, 1.5, default=("10 %", "90 %")),
        "uncertainty": Key("fraction", 0.0, 0.5, default="1 %"),
        "gain_uncertainty": Key("fraction", 0.0, 0.5, default="0 %"),
    },
    "wheel": {
        "circumference": Key("length", 0.01, 20.0, required=True),
        "pulses_per_turn": Key("whole number", 1, 10_000, required=True),
        "uncertainty": Key("fraction", 0.0, 0.5, default="1 %"),
    },
    "course": {
        "distance": Key("length", 1.0, 5000.0, required=True),
        "time": Key("time", 1.0, 3600.0, required=True),
        "uncertainty": Key("fraction", 0.0, 0.5, default="3 %"),
        "pass_spread": Key("fraction", 0.0, 0.5, default="0 %"),
    },
    "target": {
        "rate": Key("rate", 1e-7, 1e-2, required=True),
        "band": Key("fraction", 0.005, 0.5, default="10 %"),
    },
}
# Sections that may stand there several times, as [[tip]].
REPEATED_SECTIONS = ("tip",)
REQUIRED_SECTIONS = ("tank", "boom", "nozzle", "meter", "target")
