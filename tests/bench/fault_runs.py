"""Simulated runs for the fault benchmark: drawn rigs, healthy hours, and one fault each. All from seeds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from host.rig import Rig
from host.simulate.disturbances import Disturbance
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.units import PSI_PA
from tests.host.simulate.random_rigs import healthy_scenario, small_rig

RIGS = {
    "3x0.3, 450/L": (3, 0.3, 450),
    "2x0.2, 450/L": (2, 0.2, 450),
    "5x0.2, 450/L": (5, 0.2, 450),
    "8x0.2, 450/L": (8, 0.2, 450),
    "3x0.3, 2000/L": (3, 0.3, 2000),
    "2x0.2, 2000/L": (2, 0.2, 2000),
    "5x0.2, 2000/L": (5, 0.2, 2000),
    "8x0.2, 2000/L": (8, 0.2, 2000),
}
BEFORE_S = 110.0  # healthy spraying before a fault at least
AFTER_S = 30.0  # of the same pass after it


@dataclass(frozen=True)
class FaultRun:
    """Frames of one run and when the fault came, on the recorder's clock."""

    rig: Rig
    frames: np.ndarray[Any, Any]
    at_s: float


def rig_named(name: str) -> Rig:
    return small_rig(*RIGS[name])


def healthy_frames(name: str, seed: int, hours: float, drift: float = 1.0) -> np.ndarray[Any, Any]:
    scenario = healthy_scenario(rig_named(name), np.random.default_rng([seed, 1]), hours, drift)
    return run_frames(ScenarioSource(scenario, np.random.default_rng([seed, 2])))


def fault_run(
    name: str, seed: int, kind: str, drift: float = 1.0, before_s: float = BEFORE_S, **detail: Any
) -> FaultRun:
    """A healthy run in which one fault comes in the middle of a pass, after `before_s`, at a random moment."""
    nozzles, _, pulses = RIGS[name]
    rng = np.random.default_rng([seed, 3, nozzles, pulses])
    rig = rig_named(name)
    scenario = healthy_scenario(rig, rng, 0.2, drift)
    lengths = np.array(scenario.walk.lengths)
    at_s = float(rng.uniform(3.0, 12.0))
    starts = 3.0 + np.concatenate([[0.0], np.cumsum(lengths + 6.0)])
    number = int(np.argmax(starts > before_s))
    lengths[number] = at_s + AFTER_S
    walk = replace(scenario.walk, lengths=tuple(lengths.tolist()), paces=(1.0,))
    events = tuple(e for e in scenario.disturbances if e.at_s < starts[number] - 5.0)
    events += (Disturbance(kind, at_s, pass_number=number + 1, **detail),)
    duration = float(starts[number] * 1.2 + at_s + AFTER_S + detail.get("over_s", 0.0))
    source = ScenarioSource(
        replace(scenario, duration_s=duration, walk=walk, disturbances=events),
        np.random.default_rng([seed, 4, nozzles, pulses]),
    )
    frames = run_frames(source)
    begun = max(e.at_s for e in source.sprayer.disturbances.all if e.kind == kind)
    return FaultRun(rig, frames, begun)


# Kind, what it is called, what else would be right when look-alikes are merged, and its sizes.
CAUSES: tuple[tuple[str, tuple[str, ...], tuple[str, ...], tuple[dict[str, Any], ...]], ...] = (
    ("clog", ("clog",), ("meter_low", "valve_shut"), ({"amount": 1.0}, {"amount": 0.5}, {"amount": 1.0, "nozzles": 2})),
    ("kink", ("clog",), ("meter_low",), ({"amount": 0.25}, {"amount": 0.5})),
    ("wear", ("wear",), ("leak", "lost_tip"), ({"amount": 0.10, "nozzles": 2, "over_s": 60.0},)),
    ("lost_tip", ("lost_tip",), ("leak",), ({"amount": 4.0}, {"amount": 2.5})),
    ("leak", ("leak",), ("lost_tip", "wear"), ({"amount": 0.25}, {"amount": 0.4})),
    ("strainer", ("supply_short",), ("pressure_low", "battery"), ({"amount": 0.7}, {"amount": 0.8})),
    ("regulator", ("regulator",), ("pressure_low",), ({"amount": 0.75}, {"amount": 0.9})),
    ("battery", ("battery",), ("supply_short", "pressure_low"), ({"amount": 0.3}, {"amount": 0.5})),
    ("air", ("air",), ("tank_empty",), ({"amount": 0.5}, {"amount": 0.8})),
    ("valve_shut", ("valve_shut",), ("meter_stuck",), ({},)),
    ("meter_stuck", ("meter_stuck",), ("valve_shut",), ({},)),
    ("pump_off", ("pump_off",), ("tank_empty",), ({},)),
    ("meter_low", ("meter_low",), ("clog",), ({"amount": 0.15}, {"amount": 0.3})),
    ("meter_missing", ("meter_missing",), (), ({"amount": 0.15}, {"amount": 0.3})),
    ("meter_noise", ("meter_noise",), (), ({"amount": 40.0}, {"amount": 100.0})),
    ("transducer_open", ("transducer_open",), (), ({},)),
    ("transducer_short", ("transducer_short",), (), ({},)),
    ("transducer_frozen", ("transducer_frozen",), (), ({},)),
    ("transducer_drift", ("transducer_drift",), (), ({"amount": 5 * PSI_PA}, {"amount": -6 * PSI_PA})),
    ("wheel_stuck", ("wheel_stuck",), (), ({},)),
    ("board_reset", ("board_reset",), (), ({"lasts_s": 1.5},)),
    ("link_stall", ("link_stale",), (), ({"lasts_s": 4.0},)),
    ("unplug", ("link_stale",), (), ({"lasts_s": 5.0},)),
    ("line_loss", ("link_poor",), (), ({"amount": 0.1},)),
)
