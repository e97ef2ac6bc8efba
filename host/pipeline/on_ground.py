"""What was put on the ground, said for good: passes, rows, and what belongs to no known ground."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np

from host.pipeline.columns import Floats, Ints
from host.pipeline.rows import Rows, Why, without_water


@dataclass(frozen=True)
class Pass:
    """One pass, of known ground alone: volume leaves out what was sprayed standing still and what is not assigned."""

    number: int
    start_s: float  # host time from the start of the run
    end_s: float
    distance_m: float  # sprayed; times the swath it is the area
    area_m2: float
    volume_m3: float
    spraying_s: float
    off_target_s: float
    off_target_m2: float
    over_m2: float
    under_m2: float
    unknown_m2: float  # too little to give a rate for
    pressure_pa: float  # mean while spraying; NaN without a transducer
    speed_m_s: float  # distance over spraying time
    rate_m3_m2: float  # volume over area
    rate_u_m3_m2: float  # its standard uncertainty, from the calibrations and from how well ends and stops are known
    stops_u_m3: float  # standard uncertainty of its volume, from how long its stops lasted
    switch_short_s: float = 0.0  # for how much longer the water flowed than the switch was on; 0 where they agree


@dataclass(frozen=True)
class Unassigned:
    """Volume, way and time between two moments (host time, s) that do not belong to known ground, and why."""

    why: Why
    start_s: float
    end_s: float
    volume_m3: float
    distance_m: float
    seconds: float


@dataclass(frozen=True)
class Settled:
    """What frames put on the ground, for good. One row per frame in their order, every array of shape (n,).

    `pass_number` is 0 outside every pass. Volume and way of a row are either on the ground, or stationary, or
    unassigned; a row's way in a turn is none of them.
    """

    pass_number: Ints
    ground_s: Floats
    ground_m: Floats
    ground_m2: Floats
    ground_m3: Floats
    over_m2: Floats
    under_m2: Floats
    unknown_m2: Floats
    off_target_s: Floats
    stationary_s: Floats
    stationary_m3: Floats
    unassigned_s: Floats
    unassigned_m: Floats
    unassigned_m3: Floats
    ends_m2: Floats  # variance of the way sprayed, from an end of spraying in the row: another chance for each
    ends_doubt_m: Floats  # standard uncertainty of it that all such ends may share
    stops_m6: Floats  # variance of the volume sprayed standing still, from a stop in the row
    stops_doubt_m3: Floats  # standard uncertainty of it that all stops may share

    def __len__(self) -> int:
        return len(self.pass_number)

    def __getitem__(self, rows: slice) -> Settled:
        return Settled(*(getattr(self, column.name)[rows] for column in fields(self)))


SUMMED = tuple(column.name for column in fields(Settled) if column.name != "pass_number")


def settled_rows(parts: list[Settled]) -> Settled:
    """All rows of `parts`, one below the other; none for no parts."""
    if len(parts) == 1:
        return parts[0]
    columns = (column.name for column in fields(Settled))
    return Settled(*(np.concatenate([getattr(part, name) for part in parts] or [np.empty(0)]) for name in columns))


def ends_u_m(sums: Mapping[str, float]) -> float:
    """Standard uncertainty of the way sprayed from its ends alone, of sums of the columns of Settled."""
    return math.hypot(math.sqrt(sums["ends_m2"]), sums["ends_doubt_m"])


def stops_u_m3(sums: Mapping[str, float]) -> float:
    """Standard uncertainty of the volume on the ground from how long the stops lasted, of such sums."""
    return math.hypot(math.sqrt(sums["stops_m6"]), sums["stops_doubt_m3"])


def idle_settled(rows: Rows) -> Settled:
    """Rows in which nothing was sprayed: what leaked in them, and what is not known of them."""
    leaked = (rows["step_m3"] > 0) & (rows["why"] == Why.ASSIGNED)
    if leaked.any():
        rows = rows.copy()
        rows["why"][leaked] = Why.SWITCH_OPEN
    # Without a flow meter input the switch alone says that nothing was sprayed.
    quiet = (rows["step_m3"] <= 0) | (np.isnan(rows["step_m3"]) & rows["by_switch"])
    quiet &= ~without_water(rows)
    return without_ground(rows, np.where(quiet, 0.0, 1.0))


def without_ground(rows: Rows, weight: Floats | float = 1.0) -> Settled:
    """Rows without ground: what is not assigned, and the rest."""
    apart = np.where(rows["why"] != Why.ASSIGNED, weight, 0.0)
    nothing = dict.fromkeys(SUMMED, np.zeros(len(rows)))
    columns = nothing | {
        "unassigned_s": rows["step_s"] * apart,
        "unassigned_m": np.where(apart > 0, rows["step_m"] * apart, 0.0),
        "unassigned_m3": rows["step_m3"] * (rows["why"] != Why.ASSIGNED),
    }
    return Settled(np.zeros(len(rows), dtype=np.int64), **columns)
