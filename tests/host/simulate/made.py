"""Small scenarios for the tests."""

from __future__ import annotations

from typing import Any

import numpy as np

from host.rig import Rig, rig_from_toml
from host.simulate.disturbances import Disturbance
from host.simulate.scenario import Scenario
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import (
    GroundSettings,
    MeterSettings,
    PumpSettings,
    RegulatorSettings,
    TransducerSettings,
    WalkSettings,
    WheelSettings,
)

RIG = """
name = "test boom"
units = "us"
spray_switch = true
[tank]
volume = "{tank}"
[pump]
open_flow = "{pump}"
shutoff_pressure = "{shutoff}"
[boom]
nozzles = {nozzles}
spacing = "{spacing}"
[nozzle]
flow = "{flow}"
at = "{at}"
[meter]
{meter}
[pressure]
span = ["0 psi", "{span}"]
[wheel]
circumference = "1.20 m"
pulses_per_turn = 10
[target]
rate = "1.0 gal/1000 ft2"
"""
QUIET: dict[str, Any] = {
    "pump": PumpSettings(pulsation=0.0, sag_per_hour=0.0),
    "regulator": RegulatorSettings(wander=0.0),
    "ground": GroundSettings(bumps=0.0, jolts_per_minute=0.0),
    "meter": MeterSettings(pole_error=0.0, jitter=0.0, drift=0.0),
    "transducer": TransducerSettings(noise_counts=0.0, drift_pa=0.0),
    "wheel": WheelSettings(magnet_error=0.0),
}


def rig(**changes: Any) -> Rig:
    """Three nozzles of 0.3 gpm at 40 psi, a meter of 450 pulses/L, unless changed."""
    words = {
        "tank": "25 gal",
        "pump": "3.0 gpm",
        "shutoff": "90 psi",
        "nozzles": 3,
        "spacing": "20 in",
        "flow": "0.30 gpm",
        "at": "40 psi",
        "meter": 'factor = "450 /L"',
        "span": "100 psi",
    }
    return rig_from_toml(RIG.format(**{**words, **changes}))


def one_pass(*events: Disturbance, seconds: float = 40.0, quiet: bool = True, **changes: Any) -> Scenario:
    """One pass that is cut off after `seconds`, spraying from 1 s on."""
    settings = {**(QUIET if quiet else {}), **changes}
    settings.setdefault("rig", rig())
    walk = settings.pop("walk", WalkSettings(passes=1, length_m=2000.0, start_after_s=1.0))
    return Scenario(duration_s=seconds, walk=walk, disturbances=events, **settings)


def frames_of(scenario: Scenario, seed: int = 5) -> tuple[np.ndarray[Any, Any], ScenarioSource]:
    """All frames of the run, and the source at its end."""
    source = ScenarioSource(scenario, np.random.default_rng(seed))
    return run_frames(source), source


def flow_between(frames: np.ndarray[Any, Any], begin_s: float, end_s: float, pulses_per_m3: float = 450e3) -> float:
    """Mean flow (m³/s) by edges between two times on the board's clock (s)."""
    clock = frames["clock"] / 1e6
    first, last = np.searchsorted(clock, [begin_s, end_s])
    pulses = int(frames["flow_count"][last]) - int(frames["flow_count"][first])
    return pulses / pulses_per_m3 / ((int(frames["flow_edge"][last]) - int(frames["flow_edge"][first])) / 1e6)


def counts_between(frames: np.ndarray[Any, Any], begin_s: float, end_s: float) -> np.ndarray[Any, Any]:
    """Pressure means (ADC counts) between two times on the board's clock (s)."""
    clock = frames["clock"] / 1e6
    inside = (clock >= begin_s) & (clock < end_s)
    return frames["pressure_mean"][inside] / 16
