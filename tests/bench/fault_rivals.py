"""Common detectors of a change, given the same signal: log c with the poles taken out, against its first baseline."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from host.pipeline.applying import SprayState
from host.pipeline.counts import CountUnwrapper
from host.pipeline.faults.coefficient import BoomCoefficient
from host.pipeline.faults.steps import StepWatch, Usable
from host.pipeline.faults.timing import USUAL
from host.pipeline.faults.tuning import TUNING
from host.pipeline.measured import flow_stop_s
from host.pipeline.pressure import PressureReading
from host.pipeline.pulses import PulseTimer
from host.rig import Rig
from tests.host.pipeline.made import IDENTITY

REST_FRAMES = 100  # after an alarm a detector starts again; alarms closer together are one


def signal(rig: Rig, frames: np.ndarray[Any, Any]) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any], StepWatch]:
    """log c minus its first baseline, the host times of those frames, and the watch that made it."""
    counts = CountUnwrapper().push(frames)
    flow = PulseTimer(flow_stop_s(rig) * 1e6).push(counts, counts.flow)
    spraying = SprayState(rig.spray_switch).push(frames, counts, flow)
    pressure = PressureReading(rig.pressure).push(frames, [IDENTITY])
    per_m3 = rig.meter.pulses_per_m3(flow.counted_hz)
    glitch = (frames["flags"] & 2) != 0
    boom = BoomCoefficient().push(counts, per_m3, pressure.mean_pa, spraying, flow.frequency_hz > 0, glitch)
    use = np.flatnonzero(boom.usable)
    watch = StepWatch()
    watched = watch.push(
        Usable(
            boom.pulses[use],
            boom.expected[use],
            boom.edge[use],
            np.log(pressure.mean_pa[use]),
            np.log(boom.root_pa[use]),
            counts.board_us[use] * 1e-6,
            boom.start[use],
            boom.doubtful[use],
        )
    )
    learned = USUAL.frames(TUNING.reference)
    first = float(np.mean(watched.log_c[:learned]))
    return watched.log_c[learned:] - first, frames["host_s"][use][learned:], watch


class Threshold:
    """Mean of the last ten frames against a fixed threshold."""

    name = "1 s mean"

    def __init__(self, level: float) -> None:
        self._level = level

    def alarms(self, values: np.ndarray[Any, Any]) -> list[int]:
        total = np.concatenate(([0.0], np.cumsum(values)))
        means = (total[10:] - total[:-10]) / 10
        return _apart(np.flatnonzero(means < -self._level) + 9)


class Ewma(Threshold):
    """Exponentially weighted mean (weight 0.1) against a fixed threshold."""

    name = "EWMA 0.1"

    def alarms(self, values: np.ndarray[Any, Any]) -> list[int]:
        mean, hits = 0.0, []
        for place, value in enumerate(values.tolist()):
            mean += 0.1 * (value - mean)
            if mean < -self._level:
                hits.append(place)
        return _apart(np.array(hits, dtype=int))


class River:
    """A detector of the river library, restarted after each alarm."""

    def __init__(self, name: str, make: Callable[[], Any]) -> None:
        self.name, self._make = name, make

    def alarms(self, values: np.ndarray[Any, Any]) -> list[int]:
        found: list[int] = []
        detector = self._make()
        for place, value in enumerate(values.tolist()):
            detector.update(value)
            if detector.drift_detected:
                found.append(place)
                detector = self._make()
        return _apart(np.array(found, dtype=int))


def page_hinkley(level: float) -> River:
    from river.drift import PageHinkley

    return River(
        "river PageHinkley",
        lambda: PageHinkley(min_instances=30, delta=0.025, threshold=level, alpha=1.0, mode="down"),
    )


def adwin(level: float) -> River:
    from river.drift import ADWIN

    return River("river ADWIN", lambda: ADWIN(delta=level, clock=1, min_window_length=3, grace_period=5))


# Each with its thresholds from the most to the least sensitive; the first that keeps the false-alarm rate is taken.
RIVALS: dict[str, tuple[Callable[[float], Any], tuple[float, ...]]] = {
    "1 s mean": (Threshold, tuple(np.geomspace(0.01, 0.2, 40).tolist())),
    "EWMA 0.1": (Ewma, tuple(np.geomspace(0.01, 0.2, 40).tolist())),
    "river PageHinkley": (page_hinkley, tuple(np.geomspace(0.05, 1.0, 14).tolist())),
    "river ADWIN": (adwin, tuple(10.0**-power for power in (3, 6, 12, 25, 50, 100, 150))),
}


def _apart(places: np.ndarray[Any, Any]) -> list[int]:
    kept: list[int] = []
    for place in places.tolist():
        if not kept or place - kept[-1] > REST_FRAMES:
            kept.append(place)
    return kept
