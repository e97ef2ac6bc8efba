"""A simulated season of one rig: wearing nozzles, a drifting meter, a filling strainer, the tank read each time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from host.frames import Event
from host.journal import RunFile
from host.review.digest import Digest, digest_of
from host.review.review import review_of
from host.simulate.disturbances import Disturbance
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import MeterSettings, WalkSettings
from tests.host.library.made import write
from tests.host.pipeline.made import IDENTITY

DEMO = load_scenario("demo")
FIRST = datetime(2026, 4, 1, 9, tzinfo=UTC)
EVERY = timedelta(days=3)


@dataclass(frozen=True)
class Truth:
    """What is wrong in each run: fractions by the number of the run."""

    wear: Callable[[int], float] = lambda run: 0.0
    meter: Callable[[int], float] = lambda run: 0.0
    strainer: Callable[[int], float] = lambda run: 0.0


def day_of(run: int) -> str:
    return (FIRST + EVERY * run).date().isoformat()


def simulated(
    runs: int, truth: Truth, *, tank_read: bool = True, seed: int = 100
) -> Iterator[tuple[datetime, np.ndarray[Any, Any], dict[str, str]]]:
    """Start, frames and notes of each run: five passes of 38 m; the tank's marks are read to half a litre."""
    rng = np.random.default_rng(seed)
    for run in range(runs):
        wear, meter, strainer = truth.wear(run), truth.meter(run), truth.strainer(run)
        events = []
        if wear > 0:
            events.append(Disturbance("wear", 0.0, amount=wear, nozzles=DEMO.rig.nozzles.count))
        if strainer > 0:
            events.append(Disturbance("strainer", 0.0, amount=strainer))
        scenario = replace(
            DEMO,
            seed=seed + run,
            disturbances=tuple(events),
            walk=WalkSettings(passes=5, length_m=38.0),
            meter=MeterSettings(deviation=((10.0, meter), (45.0, meter))),
        )
        source = ScenarioSource(scenario)
        frames = run_frames(source)
        notes = {}
        if tank_read:
            left = source.sprayer.tank_left_m3 + rng.normal(0.0, 0.05e-3)
            notes["tank left"] = f"{round(left / 0.5e-3) * 0.5:.1f} L"
        yield FIRST + EVERY * run, frames, notes


def season(runs: int, truth: Truth, *, tank_read: bool = True, seed: int = 100) -> list[Digest]:
    """Digests of the runs."""
    digests = []
    full = Event(0.0, 0, "run_start", {"tank_m3": DEMO.rig.tank.volume_m3})
    for run, (started, frames, notes) in enumerate(simulated(runs, truth, tank_read=tank_read, seed=seed)):
        header = {"started": started.isoformat()}
        file = RunFile(Path(f"run-{run}.sward"), header=header, frames=frames, events=[IDENTITY, full])
        digests.append(digest_of(review_of(file, DEMO.rig, later_notes=notes)))
    return digests


def write_season(folder: Path, runs: int, truth: Truth, *, seed: int = 100) -> None:
    """The same as run files."""
    for started, frames, notes in simulated(runs, truth, seed=seed):
        path = folder / f"{started:%Y-%m-%dT%H%M}-bowling-green.sward"
        write(path, frames, DEMO.rig.toml, started, notes, tank_m3=DEMO.rig.tank.volume_m3)
