"""Whether a fault of the boom is over: only a return to the healthy level is its end."""

from __future__ import annotations

from enum import Enum, auto

from host.pipeline.columns import Floats
from host.pipeline.faults.first_word import nozzles_worth
from host.pipeline.faults.tuning import TUNING


class Ending(Enum):
    """What the last seconds say of an open fault."""

    STAYS = auto()
    MOVES = auto()  # larger or smaller, and not yet at rest
    GONE = auto()
    OVER = auto()  # beyond the healthy level: another fault has come on top


def stands_off(off: float, nozzles: int) -> bool:
    """Whether a level `off` the healthy one (of ln c) is more than meter and transducer drift in a long fault."""
    return abs(off) > TUNING.allowance and nozzles_worth(off, nozzles) > TUNING.own_fault_nozzles


def ending(size: float, last: Floats, few: int, nozzles: int) -> Ending:
    """What has become of a fault of `size`; `last`, shape (n,), is off the healthy level, `few` of them tell whether it
    is still on its way. All of ln c."""
    left, first, newest = (float(part.mean()) for part in (last, last[:few], last[-few:]))
    if all(off * size < 0 and stands_off(off, nozzles) for off in (first, newest)):
        return Ending.OVER
    little = left * size < 0 or abs(left) < max(TUNING.mended_share * abs(size), TUNING.mended_least)
    if little and not any(stands_off(off, nozzles) for off in (left, newest)):
        return Ending.GONE
    return Ending.STAYS if abs(newest - left) < TUNING.mended_share * abs(size) else Ending.MOVES
