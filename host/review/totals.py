"""Sums over a run: what went through the meter, where it went, and the rate on the ground that is known."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from host.calibrate.uncertainty import sample_deviation
from host.pipeline import Pass, Pipeline, Signals, Why, ends_u_m, stops_u_m3
from host.pipeline.certainty import RUN_ON_S
from host.review.hidden_ground import Hidden, Known, hidden_in
from host.rig import Rig

_LONG_S = 10.0  # of spraying: a pass whose mean flow is no chance of its first pulses


@dataclass(frozen=True)
class Totals:
    """Sums over a run or over the part of it seen so far. SI units; rates None before anything was sprayed.

    Not a number is what was not measured, all of the time or a part of it: no report was read, or the board has no
    input for it.

    What went through the meter is on known ground, or was sprayed standing still, or is not assigned:
    volume = ground + standing + unassigned. The rate is the ground's volume over its area.
    """

    volume_m3: float  # through the meter
    volume_u_m3: float  # its standard uncertainty, with what was not counted
    ground_m3: float  # of it on known ground
    ground_u_m3: float  # its standard uncertainty
    area_m2: float  # of known ground
    area_u_m2: float  # its standard uncertainty
    distance_m: float  # way gone, turns included
    spraying_s: float
    rate_m3_m2: float | None
    rate_u_m3_m2: float | None  # its standard uncertainty: calibrations, and what is not assigned
    off_target_s: float
    off_target_m2: float
    over_m2: float
    under_m2: float
    unknown_m2: float  # sprayed, but too little at once to give a rate for, or what was counted may have been air
    standing_s: float
    standing_m3: float
    unassigned_s: float
    unassigned_m: float
    unassigned_m3: float
    hidden_m2: float  # ground that was probably sprayed and is not known
    dry_m2: float  # ground that got nothing although the spray was on; part of no other
    uncounted_m3: float  # water that probably went down on it beside what is unassigned
    tank_left_m3: float
    overfilled_m3: float  # said to be filled in beyond what the tank holds; not in what is left
    doubt: str = ""  # why none of it can be believed

    @property
    def heard(self) -> bool:
        """Whether a report was read: of what is not assigned nothing else is ever unknown as a time."""
        return not math.isnan(self.unassigned_s)

    @property
    def why_not_known(self) -> str:
        """Why nothing is known of what was sprayed; empty where something is."""
        if self.doubt:
            return self.doubt
        if not self.heard:
            return "no report of the board was read"
        unmetered = self.rate_m3_m2 is None and math.isnan(self.volume_m3)
        return "the board has no flow meter input" if unmetered else ""

    @property
    def all_assigned(self) -> bool:
        """Whether all that went through the meter is known to belong to ground or to a place."""
        return self.heard and self.unassigned_m3 == 0.0

    def without(self, names: Sequence[str]) -> Totals:
        """The same with these not known."""
        unknown: dict[str, Any] = dict.fromkeys(names, math.nan)
        return replace(self, **unknown)

    def not_known(self, why: str) -> Totals:
        """The same with nothing known, for a reason."""
        numbers = [one.name for one in fields(self) if one.name not in ("rate_m3_m2", "rate_u_m3_m2", "doubt")]
        return replace(self.without(numbers), rate_m3_m2=None, rate_u_m3_m2=None, doubt=why)


# Of known ground: not known in a run in which volume and way were never measured together.
_OF_GROUND = (
    *("ground_m3", "ground_u_m3", "area_m2", "area_u_m2", "spraying_s", "off_target_s", "off_target_m2", "over_m2"),
    *("under_m2", "unknown_m2", "standing_s", "standing_m3", "hidden_m2", "dry_m2"),
)
_UNHEARD = ("unassigned_s", "unassigned_m", "unassigned_m3", "overfilled_m3")


def totals_of(pipeline: Pipeline, last: Signals | None) -> Totals:
    """Totals as they stand after the last frame of `last`."""
    seen = last is not None and len(last) > 0
    sums = pipeline.sums()
    area, ground = sums["ground_m2"], sums["ground_m3"]
    rate = ground / area if area > 0 and pipeline.passes else None  # a nudge of spray is no rate
    flow = ground / sums["ground_s"] if sums["ground_s"] > 0 else math.nan
    number, swath = max(len(pipeline.passes), 1), pipeline.rig.swath_m
    left = float(last.tank_left_m3[-1]) if last is not None and seen else math.nan
    hidden = _hidden(pipeline, sums, left)
    beyond, doubted = _beyond_tank(pipeline, left)
    ends_m, stops_m3, run_on_s = ends_u_m(sums), stops_u_m3(sums), RUN_ON_S * len(pipeline.passes)
    relative = math.hypot(
        float(pipeline.certainty.relative_u(flow, number)),
        _unassigned_u(pipeline, sums, hidden),
        ends_m * swath / area if area > 0 else 0.0,
        stops_m3 / ground if ground > 0 else 0.0,
        run_on_s / sums["ground_s"] if area > 0 else 0.0,
        beyond / 2 / ground if ground > 0 else 0.0,
    )
    meter = float(pipeline.certainty.volume_u(flow if ground > 0 else _rated_m3_s(pipeline.rig)))
    volume = float(last.volume_m3[-1]) if last is not None and seen else math.nan
    flow_step, wheel_step = (_ends(pipeline, pulse) for pulse in _pulses(pipeline.rig))
    totals = Totals(
        volume_m3=volume,
        # What is known to lack on one side alone is added, not squared: S. D. Phillips, K. R. Eberhardt, B. Parry,
        # J. Res. Natl. Inst. Stand. Technol. 102 (1997) 577, U = k·u + |bias|.
        volume_u_m3=meter * (volume + hidden.uncounted_m3) + (hidden.uncounted_m3 + beyond) / 2.0,
        ground_m3=ground,
        ground_u_m3=math.hypot(meter * ground, flow_step, run_on_s * flow, stops_m3) + min(beyond, ground) / 2.0
        if area > 0
        else 0.0,
        area_m2=area,
        area_u_m2=math.hypot(pipeline.certainty.travel_u(number) * area, wheel_step * swath, ends_m * swath)
        if area > 0
        else 0.0,
        distance_m=float(last.distance_m[-1]) if last is not None and seen else math.nan,
        spraying_s=sums["ground_s"],
        rate_m3_m2=rate,
        rate_u_m3_m2=None if rate is None else rate * relative,
        off_target_s=sums["off_target_s"],
        off_target_m2=sums["over_m2"] + sums["under_m2"] - sum(one.off_target_m2 for one in doubted),
        over_m2=sums["over_m2"] - sum(one.over_m2 for one in doubted),
        under_m2=sums["under_m2"] - sum(one.under_m2 for one in doubted),
        unknown_m2=sums["unknown_m2"] + sum(one.area_m2 - one.unknown_m2 for one in doubted),
        standing_s=sums["stationary_s"],
        standing_m3=sums["stationary_m3"],
        unassigned_s=sums["unassigned_s"] + sum(one.seconds for one in pipeline.unassigned if one.why is Why.UNHEARD),
        unassigned_m=sums["unassigned_m"],
        unassigned_m3=sums["unassigned_m3"],
        hidden_m2=hidden.area_m2,
        dry_m2=hidden.dry_m2,
        uncounted_m3=hidden.uncounted_m3,
        tank_left_m3=left,
        overfilled_m3=pipeline.overfilled_m3,
    )
    unmetered = ("uncounted_m3",) if math.isnan(volume) else ()
    return totals.without((() if pipeline.measured.ground else _OF_GROUND) + (() if seen else _UNHEARD) + unmetered)


def known_ground(
    area_m2: float, ground_m3: float, seconds: float, passes: Sequence[Pass], rig: Rig, left_m3: float
) -> Known:
    """What the known ground says of the rest of the run; rate 0 where there is none."""
    left_m3 = left_m3 if left_m3 > 0 else math.inf  # a tank that is empty by count was refilled without a word
    if not passes or not area_m2 > 0:
        return Known(0, 0, rig.swath_m, _rated_m3_s(rig), left_m3)
    flows = [one.volume_m3 / one.spraying_s for one in passes if one.spraying_s >= _LONG_S]
    return Known(ground_m3 / area_m2, area_m2 / seconds, rig.swath_m, max([ground_m3 / seconds, *flows]), left_m3)


def known_of(totals: Totals, passes: Sequence[Pass], rig: Rig) -> Known:
    """The same of a run that is over."""
    return known_ground(totals.area_m2, totals.ground_m3, totals.spraying_s, passes, rig, totals.tank_left_m3)


def _hidden(pipeline: Pipeline, sums: Mapping[str, float], left_m3: float) -> Hidden:
    area, volume, seconds = (sums[name] for name in ("ground_m2", "ground_m3", "ground_s"))
    known = known_ground(area, volume, seconds, pipeline.passes, pipeline.rig, left_m3)
    hidden = hidden_in(pipeline.unassigned, known)
    refused = sum(found.refused for found in pipeline.refused if found.too_fast and found.name == "flow")
    return replace(hidden, uncounted_m3=hidden.uncounted_m3 + refused * _pulses(pipeline.rig)[0])


def _beyond_tank(pipeline: Pipeline, left_m3: float) -> tuple[float, list[Pass]]:
    """What the meter counted beyond what the tank held, where the watch found the tank empty, and the passes since.

    A meter goes on turning in air and froth: as much as that may never have been water. It may also have been a refill
    that nobody noted; once it is noted, this is nothing.
    """
    empty = [fault.began_s for fault in pipeline.faults() if fault.kind == "tank_empty"]
    if not (empty and left_m3 < 0):
        return 0.0, []
    return -left_m3, [one for one in pipeline.passes if one.start_s >= empty[0]]


def _pulses(rig: Rig) -> tuple[float, float]:
    """One pulse of the meter (m³) and of the wheel (m; 0 without one)."""
    return 1.0 / float(rig.meter.curve[0][1]), rig.wheel.metres_per_pulse if rig.wheel else 0.0


def _rated_m3_s(rig: Rig) -> float:
    return float(rig.nozzles.count * rig.nozzles.points[0][1])


def _ends(pipeline: Pipeline, pulse: float) -> float:
    """Standard uncertainty from the ends of passes, and of what is apart, each read to a whole pulse: GUM F.2.2.1."""
    return pulse * math.sqrt((len(pipeline.passes) + len(pipeline.unassigned)) / 6.0)


def _unassigned_u(pipeline: Pipeline, sums: Mapping[str, float], hidden: Hidden) -> float:
    """Relative standard uncertainty of the run's rate from ground that is not known.

    That share of the volume may have gone down at a rate as different as the passes are from each other.
    """
    metered = sums["unassigned_m3"]
    known, apart = sums["ground_m3"], hidden.uncounted_m3 + (metered if math.isfinite(metered) else 0.0)
    if not (known > 0 and apart > 0):
        return 0.0
    rates = [one.rate_m3_m2 for one in pipeline.passes]
    spread = sample_deviation(rates) / (math.fsum(rates) / len(rates)) if len(rates) > 2 else pipeline.rig.target.band
    return apart / (known + apart) * spread
