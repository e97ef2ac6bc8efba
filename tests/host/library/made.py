"""Run files for the library's tests: simulated, with notes and a date of their own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from firmware_protocol.messages import Report, encode_identity, encode_report
from host.journal import JournalWriter
from host.journal.writer import Snapshot
from host.library import Entry
from host.simulate.scenario import Scenario, load_scenario
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import WalkSettings
from tests.host.pipeline.made import NAMED


def short_scenario(**changes: Any) -> Scenario:
    """One pass of 20 m."""
    return replace(
        load_scenario("demo"), **{"disturbances": (), "walk": WalkSettings(passes=1, length_m=20.0)} | changes
    )


def write(
    path: Path,
    frames: np.ndarray[Any, Any],
    rig_toml: str,
    started: datetime,
    notes: Mapping[str, str] | None = None,
    *,
    tank_m3: float | None = None,
    calibrations: Sequence[Mapping[str, Any]] = (),
    mixes: Sequence[str] = (),
) -> Path:
    """A run file of these frames; `mixes` are the TOML texts of mixing sheets."""
    writer = JournalWriter(path, Snapshot({"started": started.isoformat()}, rig_toml, calibrations))
    writer.event("run_start", 0.0, **({} if tank_m3 is None else {"tank_m3": tank_m3}))
    for toml in mixes:
        writer.event("mix", 0.0, toml=toml)
    for key, value in (notes or {}).items():
        writer.note(key, value, 0.0)
    if len(frames):
        writer.raw_line(encode_identity(replace(NAMED, boot=int(frames["boot"][0]))), 0.0)
    for row in frames:
        values = row.tolist()
        writer.raw_line(encode_report(Report(*values[1:])), values[0])
    writer.flush()
    writer.close("complete", "made", 0, float(frames["host_s"][-1]) if len(frames) else 0.0)
    return path


def simulated_run(
    path: Path,
    started: datetime,
    notes: Mapping[str, str] | None = None,
    *,
    mixes: Sequence[str] = (),
    **changes: Any,
) -> Path:
    """A simulated run of one short pass."""
    scenario = short_scenario(**changes)
    frames = run_frames(ScenarioSource(scenario))
    return write(path, frames, scenario.rig.toml, started, notes, mixes=mixes)


def told(entries: Iterable[Entry]) -> list[str]:
    """Every value of every entry to the last digit, for comparing: what is not a number is alike, which == denies."""
    return [repr(entry) for entry in entries]
