"""Sums over a run: what went through the meter, where it went, and the rate on the ground that is known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from host.calibrate.uncertainty import sample_deviation
from host.pipeline import Pipeline, Signals


@dataclass(frozen=True)
class Totals:
    """Sums over a run or over the part of it seen so far. SI units; rates None before anything was sprayed.

    What went through the meter is on known ground, or was sprayed standing still, or is not assigned:
    volume = ground + standing + unassigned. The rate is the ground's volume over its area.
    """

    volume_m3: float  # through the meter
    ground_m3: float  # of it on known ground
    area_m2: float  # of known ground
    distance_m: float  # way gone, turns included
    spraying_s: float
    rate_m3_m2: float | None
    rate_u_m3_m2: float | None  # its standard uncertainty: calibrations, and what is not assigned
    off_target_s: float
    off_target_m2: float
    over_m2: float
    under_m2: float
    unknown_m2: float  # sprayed, but too little at once to give a rate for
    standing_s: float
    standing_m3: float
    unassigned_s: float
    unassigned_m: float
    unassigned_m3: float
    tank_left_m3: float


def totals_of(pipeline: Pipeline, last: Signals | None) -> Totals:
    """Totals as they stand after the last frame of `last`."""
    seen = last is not None and len(last) > 0
    sums = pipeline.sums()
    area, ground = sums["ground_m2"], sums["ground_m3"]
    rate = ground / area if area > 0 else None
    flow = ground / sums["ground_s"] if sums["ground_s"] > 0 else math.nan
    known = float(pipeline.certainty.relative_u(flow, max(len(pipeline.passes), 1)))
    relative = math.hypot(known, _unassigned_u(pipeline, sums))
    return Totals(
        volume_m3=float(last.volume_m3[-1]) if last is not None and seen else 0.0,
        ground_m3=ground,
        area_m2=area,
        distance_m=float(last.distance_m[-1]) if last is not None and seen else 0.0,
        spraying_s=sums["ground_s"],
        rate_m3_m2=rate,
        rate_u_m3_m2=None if rate is None else rate * relative,
        off_target_s=sums["off_target_s"],
        off_target_m2=sums["over_m2"] + sums["under_m2"],
        over_m2=sums["over_m2"],
        under_m2=sums["under_m2"],
        unknown_m2=sums["unknown_m2"],
        standing_s=sums["stationary_s"],
        standing_m3=sums["stationary_m3"],
        unassigned_s=sums["unassigned_s"],
        unassigned_m=sums["unassigned_m"],
        unassigned_m3=sums["unassigned_m3"],
        tank_left_m3=float(last.tank_left_m3[-1]) if last is not None and seen else pipeline.rig.tank.volume_m3,
    )


def _unassigned_u(pipeline: Pipeline, sums: Mapping[str, float]) -> float:
    """Relative standard uncertainty of the run's rate from ground that is not known.

    That share of the volume may have gone down at a rate as different as the passes are from each other.
    """
    known, apart = sums["ground_m3"], sums["unassigned_m3"]
    if not (known > 0 and apart > 0):
        return 0.0
    rates = [one.rate_m3_m2 for one in pipeline.passes]
    spread = sample_deviation(rates) / (math.fsum(rates) / len(rates)) if len(rates) > 2 else pipeline.rig.target.band
    return apart / (known + apart) * spread
