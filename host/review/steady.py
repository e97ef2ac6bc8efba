"""What steady spraying says about the boom: metered volume against the root of the pressure.

Q = k·√P for an orifice (Bernoulli), so over any stretch the volume is k times the integral of √P: a ratio of sums, in
which a turn of the pressure knob cancels and a worn or clogged nozzle does not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from host.calibrate.uncertainty import sample_deviation
from host.pipeline import Pass
from host.pipeline.columns import Floats
from host.review.track import Track
from host.rig import Rig

SETTLE_S = 1.5  # after the spray opens: rotor, hoses and pressure come to rest
_LONGEST_ROW_S = 1.5  # the slowest board reports once a second; a gap in the recording is no steady flow
LEAST_S = 5.0  # of steady spraying; less is no measurement
_LEAST_OF_PASS_S = 2.0


@dataclass(frozen=True)
class Steady:
    """Sums over the steady parts of the passes. `coefficient` is that of the whole boom, m³/s/√Pa.

    `scatter` is the relative standard deviation of the passes' own coefficients; NaN for a single pass.
    """

    coefficient: float
    pressure_pa: float  # mean
    flow_m3_s: float  # mean
    rated_flow_m3_s: float  # what the rig file's nozzles give at these pressures
    seconds: float
    passes: int
    scatter: float


def steady_of(track: Track, passes: list[Pass], rig: Rig) -> Steady | None:
    """Steady spraying of a run; None without a transducer or with less than five seconds of it.

    Flow is integrated between edges (no counting step), pressure frame by frame.
    """
    if rig.pressure is None:
        return None
    sums = [_sums(track, one, rig) for one in passes]
    sums = [one for one in sums if one[0] > 0.0]
    if not sums:
        return None
    seconds, poured, roots, pressed, rated = (math.fsum(column) for column in zip(*sums, strict=True))
    if seconds < LEAST_S or roots <= 0 or poured <= 0:
        return None
    own = [one[1] / one[2] for one in sums if one[0] >= _LEAST_OF_PASS_S]
    mean = poured / roots
    scatter = sample_deviation(own) / mean if len(own) > 1 else math.nan
    return Steady(
        coefficient=mean,
        pressure_pa=pressed / seconds,
        flow_m3_s=poured / seconds,
        rated_flow_m3_s=rated / seconds,
        seconds=seconds,
        passes=len(own),
        scatter=scatter,
    )


def own_coefficients(track: Track, passes: list[Pass], rig: Rig) -> list[tuple[float, float]]:
    """Coefficient (m³/s/√Pa) and mean pressure (Pa) of each pass with two seconds of steady spraying."""
    sums = [_sums(track, one, rig) for one in passes] if rig.pressure is not None else []
    return [(one[1] / one[2], one[3] / one[0]) for one in sums if one[0] >= _LEAST_OF_PASS_S and one[1] > 0]


def _sums(track: Track, one: Pass, rig: Rig) -> tuple[float, float, float, float, float]:
    """Seconds, volume, ∫√P dt, ∫P dt and rated volume of the steady part of a pass."""
    here, step_s = steady_rows(track, one.start_s, one.end_s)
    use = step_s > 0
    if not use.any():
        return 0.0, 0.0, 0.0, 0.0, 0.0
    dt, p = step_s[use], track.pressure_pa[here][use]
    rated = rig.nozzles.count * rig.nozzles.flow_m3_s(p)
    return (
        float(dt.sum()),
        float((track.flow_m3_s[here][use] * dt).sum()),
        float((np.sqrt(p) * dt).sum()),
        float((p * dt).sum()),
        float((rated * dt).sum()),
    )


def steady_rows(track: Track, start_s: float, end_s: float) -> tuple[slice, Floats]:
    """The rows of the track after `start_s` up to `end_s`, and how many seconds of steady spraying lie in each.

    0 s where it does not spray, has just begun to, or flow or pressure was not measured.
    """
    here = track.between(start_s, end_s)
    time_s, spraying = track.host_s[here], track.spraying[here]
    step_s = np.diff(time_s, prepend=start_s)
    opened = spraying & ~np.concatenate(([False], spraying[:-1]))
    since_s = time_s - np.maximum.accumulate(np.where(opened, time_s, start_s))
    # A gap in the recording is no steady flow.
    use = spraying & (since_s >= SETTLE_S) & (step_s < _LONGEST_ROW_S)
    use &= (track.pressure_pa[here] > 0) & (track.flow_m3_s[here] > 0)
    return here, np.where(use, step_s, 0.0)
