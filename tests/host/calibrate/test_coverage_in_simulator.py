"""Does the stated uncertainty hold? Whole calibrations in the simulator, each followed by a run."""

from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from host.calibrate.interval import Interval, interval_of_run
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.vessels import Vessel
from host.journal import RunFile
from host.pipeline import Pipeline
from host.simulate.scenario import Scenario
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import WalkSettings
from host.simulate.truth import truth
from tests.host.pipeline.made import IDENTITY
from tests.host.simulate.made import rig

JUG = Vessel("jug", step_m3=20e-6, accuracy=0.01)
CATCHES, PASSES = 4, 8
SIMULATED, JUGS = 20, 5  # runs, and jugs whose scale is drawn anew for each of them


@dataclass(frozen=True)
class Simulated:
    """A run, the true volume of each pass, when each begins, and what the meter counted in the first of them."""

    frames: Any
    volumes_m3: list[float]
    begun: list[float]
    counted: list[Interval]


def simulated(seed: int) -> Simulated:
    walk = WalkSettings(passes=PASSES, length_m=18.0, turn_s=3.0)
    source = ScenarioSource(Scenario(rig=rig(), seed=seed, title="", walk=walk))
    frames = run_frames(source)
    true = truth(source.sprayer)["passes"]
    run = RunFile(Path("simulated"), frames=frames)
    begun = [one["begin_s"] - 0.5 for one in true] + [float(frames["host_s"][-1])]
    counted = [interval_of_run(run, str(begin), str(end)) for begin, end in pairwise(begun[: CATCHES + 1])]
    return Simulated(frames, [one["volume_m3"] for one in true], begun, counted)


def calibrate_then_spray(run: Simulated, rng: np.random.Generator) -> tuple[float, float]:
    """Error of the reviewed volume of a run, and the expanded uncertainty stated before it, both as fractions."""
    scale = 1.0 + rng.uniform(-JUG.accuracy, JUG.accuracy)
    catches = []
    for counted, volume_m3 in zip(run.counted, run.volumes_m3, strict=False):
        read = round(volume_m3 * scale / JUG.step_m3) * JUG.step_m3
        catches.append(MeterCatch(counted.flow_pulses, read, JUG, counted.flowing_s))
    result = calibrate_meter(catches)
    signals = Pipeline(replace(rig(), meter=result.meter()), watch_faults=False).push(run.frames, [IDENTITY])
    at = np.searchsorted(run.frames["host_s"], run.begun[CATCHES])
    reviewed = float(signals.volume_m3[-1] - signals.volume_m3[at])
    return reviewed / sum(run.volumes_m3[CATCHES:]) - 1.0, result.uncertainty.expanded


def test_the_reviewed_volume_lies_within_the_expanded_uncertainty():
    """In at least 93 of 100 seeded repetitions; and the uncertainty is not simply large."""
    runs = [simulated(seed) for seed in range(SIMULATED)]
    rng = np.random.default_rng(0)
    results = np.array([calibrate_then_spray(run, rng) for run in runs for _ in range(JUGS)])
    error, expanded = results.T
    assert len(results) == 100
    assert np.sum(np.abs(error) <= expanded) >= 93
    assert np.median(expanded) < 0.02
