"""One row per frame, as far as the ground that it sprayed is concerned."""

from __future__ import annotations

from enum import IntEnum

import numpy as np
import numpy.typing as npt

Rows = npt.NDArray[np.void]  # of ROW

ROW = np.dtype(
    [
        ("us", np.int64),  # board time at the end of the row
        ("step_us", np.int64),  # how long it is
        ("step_s", np.float64),  # the same, corrected for the board's clock
        ("host_s", np.float64),
        # Way gone, carried on between pulses; with a timed course, what it would be had it sprayed all through.
        ("step_m", np.float64),
        ("step_m3", np.float64),
        ("pulses", np.int64),  # of the flow meter, total
        ("edge_us", np.int64),  # when the last of them came
        ("timed", np.bool_),  # whether one of them came in this row
        ("turned", np.bool_),  # whether the wheel gave a pulse; always, with a timed course
        ("wheel_pulses", np.int64),  # of the wheel, total
        ("wheel_edge_us", np.int64),  # when the last of them came
        ("pressure_pa", np.float64),
        ("rate_m3_m2", np.float64),  # over the two seconds before its end
        ("spraying", np.bool_),
        ("moving", np.bool_),
        ("doubted", np.bool_),  # the wheel is silent for so long that it may not be standing
        ("by_switch", np.bool_),  # whether spraying is a switch's state, not the flow's
        ("dry", np.bool_),  # the switch is on and nothing flows
        ("dry_long", np.bool_),  # and somebody has walked so for longer than a turn lasts
        ("dry_neither", np.bool_),  # and the wheel gave no pulse either, in this pass nor in the one before
        ("why", np.int8),  # a Why: volume and ground do not belong together
    ],
    align=True,
)


class Why(IntEnum):
    """Why volume and ground of a row cannot be assigned to each other."""

    ASSIGNED = 0
    SILENCE = 1  # nothing came from the board, and it is not known when the spray was on meanwhile
    RESTART = 2  # the board restarted: what was pumped meanwhile was not counted
    OTHER_COUNTS = 3  # the counts do not go on from the report before: another board, or damage
    DROPPED = 4  # the board says that it failed to count pulses
    NO_WHEEL = 5  # the board has no input by which the way is known
    SWITCH_OPEN = 6  # it flowed although the spray was off
    REFUSED = 7  # pulses came too fast for the input's filter: some were refused
    NO_METER = 8  # the board has no flow meter input
    BOUNCES = 9  # a contact bounces and the board does not filter it: what it counts means nothing
    UNHEARD = 10  # nothing came from the board any more, until the run was ended
    NO_PULSES = 11  # the wheel gave no pulses for long: it stood, or its sensor has failed
    NO_WATER = 12  # the spray was on and nothing came: no flow, and no pressure
    NOT_METERED = 13  # the spray was on and the meter counted nothing: it failed, or nothing came
    NEITHER = 14  # and the wheel gave no pulse either: both failed, or it stood with the water shut


DRY = (Why.NO_WATER, Why.NOT_METERED, Why.NEITHER)


def without_water(rows: Rows) -> npt.NDArray[np.bool_]:
    """Whether each row is one of DRY."""
    return np.asarray(rows["why"] >= min(DRY))
