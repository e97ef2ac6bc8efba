"""What the host makes of the lines of the second board, and what was true on the ground that it says it knows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from firmware_protocol.messages import Identity
from host.frames import Event
from host.journal import RunFile, RunReader
from host.journal.records import raw_record
from host.review.review import Review, review_of
from host.rig import Rig, rig_from_toml
from host.rig.model import DAY_TO_DAY, GROUND_TO_GROUND
from tests.independent_board.sprayer import STEP_S, Plan, Sprayer

# How far meter and wheel are off on a day, standard: what `rig_toml` claims of them, and what day and ground add.
METER_U, WHEEL_U = float(np.hypot(0.01, DAY_TO_DAY)), float(np.hypot(0.005, GROUND_TO_GROUND))

STANDS_M_S = 0.1  # slower than this it stands: the ground below would get ten times the rate


def rig_toml(
    plan: Plan, *, switch: bool = True, pressure: bool = True, wheel: bool = True, course_u: str = "1 %"
) -> str:
    """The rig file of a plan's sprayer, with the parts that its keeper says it has."""
    travel = (
        f'[wheel]\ncircumference = "{10 * plan.metres_per_pulse} m"\npulses_per_turn = 10\nuncertainty = "0.5 %"\n'
        if wheel
        else f'[course]\ndistance = "50 m"\ntime = "{50 / plan.pace_m_s} s"\nuncertainty = "{course_u}"\n'
    )
    return (
        f'name = "Other sprayer"\nunits = "metric"\nspray_switch = {str(switch).lower()}\n'
        f'[tank]\nvolume = "100 L"\n[boom]\nnozzles = 4\nspacing = "{plan.swath_m / 4} m"\n'
        f'[nozzle]\nflow = "{plan.flow_m3_s / 4 * 6e4} L/min"\nat = "{plan.pressure_pa / 1e5} bar"\n'
        f'[meter]\nfactor = "{plan.pulses_per_m3 / 1000} /L"\nuncertainty = "1 %"\n'
        + ('[pressure]\nspan = ["0 bar", "6.9 bar"]\n' if pressure else "")
        + f'[target]\nrate = "{plan.flow_m3_s / plan.pace_m_s / plan.swath_m * 1e7} L/ha"\nband = "10 %"\n'
        + travel
    )


def run_file(lines: Sequence[tuple[float, bytes]], events: Sequence[Event] = ()) -> RunFile:
    """The run that a recorder would have written of these lines."""
    batch = RunReader().push(b"".join(raw_record(line.rstrip(b"\n"), at) for at, line in lines))
    found = [*batch.events, *events]
    return RunFile(Path("other.sward"), frames=batch.frames, events=found, uninterpreted=batch.uninterpreted)


def frames_file(frames: npt.NDArray[np.void], named: Sequence[tuple[float, Identity]]) -> RunFile:
    """The same of frames that were never lines."""
    events = [Event(at, int(np.searchsorted(frames["host_s"], at)), "identity", asdict(one)) for at, one in named]
    return RunFile(Path("other.sward"), frames=frames, events=events)


def reviewed(lines: Sequence[tuple[float, bytes]], toml: str) -> Review:
    """The review of these lines."""
    rig: Rig = rig_from_toml(toml)
    return review_of(run_file(lines), rig, watch_faults=False)


@dataclass(frozen=True)
class Truth:
    """What really lay on the known ground, and what did not."""

    volume_m3: float
    area_m2: float

    @property
    def rate_m3_m2(self) -> float:
        """Volume over area."""
        return self.volume_m3 / self.area_m2


def truth_on_known_ground(sprayer: Sprayer, review: Review, apart: Sequence[tuple[float, float]] = ()) -> Truth:
    """Out of the nozzles and onto the ground, without the times that the host sets apart, nor what it says stood."""
    known = np.ones(len(sprayer.t), dtype=np.bool_)
    for begin, end in [*((one.start_s, one.end_s) for one in review.unassigned), *apart]:
        known &= (sprayer.t < begin) | (sprayer.t >= end)
    out, way, place = (np.diff(of, append=of[-1]) for of in (sprayer.sprayed_m3, sprayer.open_m, sprayer.place_m))
    stood = (place < STANDS_M_S * STEP_S) & (review.totals.standing_m3 > 0)
    return Truth(float(np.sum(out[known & ~stood])), float(np.sum(way[known])) * sprayer.plan.swath_m)
