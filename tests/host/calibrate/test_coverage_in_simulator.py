"""Does the stated uncertainty hold? Whole calibrations in the simulator, each followed by a run."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from host.calibrate.interval import interval_of_run
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.vessels import Vessel
from host.journal import RunFile
from host.pipeline import Pipeline
from host.simulate.scenario import Scenario
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import WalkSettings
from host.simulate.truth import truth
from tests.host.simulate.made import rig

JUG = Vessel("jug", step_m3=20e-6, accuracy=0.01)
CATCHES, PASSES = 4, 8
REPETITIONS = 100


def calibrate_then_spray(seed: int) -> tuple[float, float]:
    """Error of the reviewed volume of a run, and the expanded uncertainty stated before it, both as fractions."""
    rng = np.random.default_rng(seed)
    walk = WalkSettings(passes=PASSES, length_m=18.0, turn_s=3.0)
    source = ScenarioSource(Scenario(rig=rig(), seed=seed, title="", walk=walk))
    frames = run_frames(source)
    true = truth(source.sprayer)["passes"]
    run = RunFile(Path("simulated"), frames=frames)
    begun = [one["begin_s"] - 0.5 for one in true] + [float(frames["host_s"][-1])]
    scale = 1.0 + rng.uniform(-JUG.accuracy, JUG.accuracy)
    catches = []
    for number in range(CATCHES):
        counted = interval_of_run(run, str(begun[number]), str(begun[number + 1]))
        read = round(true[number]["volume_m3"] * scale / JUG.step_m3) * JUG.step_m3
        catches.append(MeterCatch(counted.flow_pulses, read, JUG, counted.flowing_s))
    result = calibrate_meter(catches)
    signals = Pipeline(replace(rig(), meter=result.meter())).push(frames, [])
    at = np.searchsorted(frames["host_s"], begun[CATCHES])
    reviewed = float(signals.volume_m3[-1] - signals.volume_m3[at])
    sprayed = sum(one["volume_m3"] for one in true[CATCHES:])
    return reviewed / sprayed - 1.0, result.uncertainty.expanded


def test_the_reviewed_volume_lies_within_the_expanded_uncertainty():
    """In at least 93 of 100 seeded repetitions; and the uncertainty is not simply large."""
    results = np.array([calibrate_then_spray(seed) for seed in range(REPETITIONS)])
    error, expanded = results.T
    assert np.sum(np.abs(error) <= expanded) >= 93
    assert np.median(expanded) < 0.02
