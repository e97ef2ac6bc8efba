"""What comes out of the pipeline, column by column."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.integer[Any]]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Signals:
    """One row per frame; every array has shape (n,). NaN where a quantity is not defined.

    What went on the ground is settled later: see Settled, and Pipeline.sums for how it stands.

    Totals count from the first frame of the run. Times are corrected for the board's clock error unless named
    `board` or `host`.
    """

    host_s: Floats  # arrival, on the recorder's clock, from the start of the run
    board_s: Floats  # the board's clock, continued over wraps and restarts
    clock_scale: Floats  # host seconds per board second, as estimated so far
    flow_m3_s: Floats
    volume_m3: Floats
    pressure_pa: Floats  # mean over the frame; NaN outside the transducer's live range
    pressure_min_pa: Floats
    pressure_max_pa: Floats
    speed_m_s: Floats
    distance_m: Floats
    spraying: Bools
    moving: Bools
    rate_m3_m2: Floats  # over the last two seconds of spraying on the move
    rate_u_m3_m2: Floats  # its standard uncertainty
    pace_wanted_m_s: Floats  # the speed that would give the target at the present flow
    off_target: Bools  # the rate is outside the target's band
    side: Ints  # 1 over the band, -1 under it, 0 in it; holds while the rate is near an edge
    pass_number: Ints  # passes begun so far
    tank_left_m3: Floats
    tank_covers_m2: Floats  # at the target rate
    lost_frames: Ints  # total, by the board's sequence number
    resets: Ints  # total
    dropped_pulses: Ints  # total that the board says it failed to count, of flow or wheel
    unsent_lines: Ints  # total that the board says it could not send

    def __len__(self) -> int:
        return len(self.host_s)


def joined(parts: list[Signals]) -> Signals:
    """All rows of `parts`, which must not be empty, one below the other."""
    return Signals(**{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Signals)})
