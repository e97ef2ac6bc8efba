"""A simulated run straight into a run file, as a recorder would have written it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from firmware_protocol.messages import LineError, check_line
from host.errors import NotSavedError
from host.journal import JournalWriter, Snapshot
from host.simulate.scenario import Scenario
from host.simulate.scenario_source import ScenarioSource, run_lines

_WALL_CLOCK = "2026-05-14T09:15:00+00:00"  # of every simulated run: the same scenario gives the same file


def write_run(scenario: Scenario, path: Path, progress: Callable[[float], None] | None = None) -> ScenarioSource:
    """Simulate `scenario` into the run file `path`, with its refills, pulled cables and restarts as events.

    Returns the source at the end of the run, for the truth. Raises UserError when the file exists or cannot be made.
    """
    source = ScenarioSource(scenario)
    header = {"started": _WALL_CLOCK, "port": "simulated", "rig": scenario.rig.name, "simulated": scenario.title}
    try:
        writer = JournalWriter(path, Snapshot(header, scenario.rig.toml))
    except FileExistsError:
        raise NotSavedError(f"run file {path} exists and is not written over; choose another name") from None
    writer.event("run_start", 0.0)
    events = _events(source)
    damaged = 0
    for lines in run_lines(source):
        for at_s, line in lines:
            while events and events[0][0] <= at_s:
                due_s, kind, detail = events.pop(0)
                writer.event(kind, due_s, **detail)
            writer.raw_line(line, at_s)
            damaged += not _is_sound(line)
        writer.flush()
        if progress is not None and lines:
            progress(lines[-1][0])
    end_s = source.duration_s + 0.1
    writer.event("run_end", end_s, reason="end of the scenario")
    writer.close("complete", "end of the scenario", damaged, end_s)
    return source


def _events(source: ScenarioSource) -> list[tuple[float, str, dict[str, str | int]]]:
    events: list[tuple[float, str, dict[str, str | int]]] = []
    for _, end_s in source.sprayer.walk.refills:
        events.append((end_s, "refill", {"text": "tank full"}))
    boot = source.scenario.board.boot
    for disturbance in source.sprayer.disturbances.all:
        if disturbance.kind == "unplug":
            events.append((disturbance.at_s, "link_lost", {"reason": "cable pulled"}))
            events.append((disturbance.end_s, "link_back", {}))
        elif disturbance.kind == "board_reset":
            boot = (boot + 1) % 256
            events.append((disturbance.end_s, "board_start", {"boot": boot}))
    return sorted(events, key=lambda event: event[0])


def _is_sound(line: bytes) -> bool:
    try:
        check_line(line)
    except LineError:
        return False
    return True
