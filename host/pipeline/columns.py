"""What comes out of the pipeline, column by column."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Annotated, Any, get_type_hints

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.integer[Any]]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Export:
    """How a signal is told to people and machines: name without the unit, kind of host.units (empty: none), meaning."""

    name: str
    kind: str
    meaning: str


@dataclass(frozen=True)
class Signals:
    """One row per frame; every array has shape (n,). NaN where a quantity is not defined.

    What went on the ground is settled later: see Settled, and Pipeline.sums for how it stands.

    Totals count from the first frame of the run. Times are corrected for the board's clock error unless named
    `board` or `host`. A signal with an Export is exported; all are at hand for the live page.
    """

    host_s: Annotated[
        Floats,
        Export("host_time", "time", "arrival of the report, seconds from the start of the run by the recorder's clock"),
    ]
    board_s: Annotated[Floats, Export("board_time", "time", "the board's own clock, continued over wraps and restarts")]
    clock_scale: Annotated[
        Floats, Export("clock_scale", "", "seconds of the recorder for each second of the board, as estimated so far")
    ]
    flow_m3_s: Annotated[Floats, Export("flow", "flow", "flow through the meter")]
    volume_m3: Annotated[Floats, Export("volume", "volume", "total through the meter")]
    pressure_pa: Annotated[
        Floats, Export("pressure", "pressure", "mean over the report; empty outside the transducer's range")
    ]
    pressure_min_pa: Annotated[Floats, Export("pressure_min", "pressure", "least in the report")]
    pressure_max_pa: Annotated[Floats, Export("pressure_max", "pressure", "greatest in the report")]
    speed_m_s: Annotated[Floats, Export("speed", "speed", "speed on the ground")]
    distance_m: Annotated[Floats, Export("distance", "length", "total distance, turns included")]
    spraying: Annotated[Bools, Export("spraying", "", "whether the boom sprays")]
    moving: Annotated[Bools, Export("moving", "", "whether the wheel turns")]
    rate_m3_m2: Annotated[
        Floats,
        Export(
            "rate",
            "rate",
            "volume per area over the last two seconds of spraying on the move, as the live page shows it",
        ),
    ]
    rate_u_m3_m2: Annotated[
        Floats,
        Export(
            "rate_standard_uncertainty",
            "rate",
            "standard uncertainty of the rate (k = 1; times 2 is about 95 %)",
        ),
    ]
    pace_wanted_m_s: Annotated[Floats, Export("pace_wanted", "speed", "speed that would give the target at this flow")]
    off_target: Annotated[Bools, Export("off_target", "", "the rate is outside the target's band")]
    side: Annotated[
        Ints,
        Export("side_of_band", "", "1 over the band, -1 under it, 0 in it; holds while the rate is near an edge"),
    ]
    # Passes begun so far: a first word of the live page. An export has the settled one in its place.
    pass_number: Ints
    tank_left_m3: Annotated[Floats, Export("tank_left", "volume", "what is left in the tank")]
    tank_covers_m2: Annotated[Floats, Export("tank_covers", "area", "area that it still covers at the target rate")]
    lost_frames: Annotated[
        Ints, Export("lost_frames", "", "total of reports that did not arrive, by the board's numbers")
    ]
    resets: Annotated[Ints, Export("board_restarts", "", "total of restarts of the board")]
    dropped_pulses: Annotated[
        Ints, Export("dropped_pulses", "", "total of pulses that the board says it failed to count")
    ]
    unsent_lines: Annotated[Ints, Export("unsent_lines", "", "total of reports that the board says it could not send")]

    def __len__(self) -> int:
        return len(self.host_s)


def joined(parts: list[Signals]) -> Signals:
    """All rows of `parts`, which must not be empty, one below the other."""
    return Signals(**{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Signals)})


# Field of Signals -> how it is exported.
EXPORTED: dict[str, Export] = {
    name: hint.__metadata__[0]
    for name, hint in get_type_hints(Signals, include_extras=True).items()
    if hasattr(hint, "__metadata__")
}
