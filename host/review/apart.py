"""What does not belong to known ground, and what the board said went wrong, as messages for a person."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from host.pipeline import Unassigned, Why
from host.review.beyond import beyond_calibration
from host.review.board_said import dropped_message, refused_messages, unsent_message
from host.review.hidden_ground import Known, hidden_behind, joined
from host.units import format_value

if TYPE_CHECKING:
    from host.review.review import Review

_JUG_M3 = 0.5e-3
_NEXT_TO_NOTHING = 1e-3  # of the volume
_SEEN = 0.002  # of the volume: less is not worth a sentence unless something happened
REASONS = {
    Why.SILENCE: "Nothing came from the board",
    Why.RESTART: "The board restarted; what was pumped while it was down is not counted",
    Why.OTHER_COUNTS: "The board's counts did not go on: another board, or damage on the line",
    Why.DROPPED: "The board dropped pulses",
    Why.NO_WHEEL: "The board has no wheel input",
    Why.SWITCH_OPEN: "It flowed although the spray was off: look at switch, valve and drips",
    Why.REFUSED: "Pulses came too fast for the filter of their input, and not all were counted",
}


def apart_messages(review: Review, system: str) -> list[str]:
    """One sentence for each thing that is kept apart from the rate, with what part of it may be sprayed ground."""
    said = []
    for one in joined(review.unassigned):
        small = one.volume_m3 < _SEEN * review.totals.volume_m3
        if one.why is Why.SWITCH_OPEN and small:
            continue
        said.append(_message(one, review, system))
    return said


def _message(one: Unassigned, review: Review, system: str) -> str:
    volume, way = _volume(one.volume_m3, system), format_value(one.distance_m, "length", system)
    head = f"{review.at(one.start_s)}: {REASONS[one.why]}. {volume} and {way} in {one.seconds:.1f} s are not assigned"
    totals = review.totals
    if one.why is Why.NO_WHEEL:
        return head + ": no ground is known, and no rate."
    if not totals.rate_m3_m2 or one.why is Why.SWITCH_OPEN:
        return head + "."
    hidden = hidden_behind(one, Known(totals.rate_m3_m2, totals.area_m2 / totals.spraying_s, review.rig.swath_m))
    area = format_value(hidden.area_m2, "area", system)
    if one.why is Why.SILENCE:
        return head + f": about {area} of it was sprayed ground."
    if hidden.uncounted_m3 < _NEXT_TO_NOTHING * totals.volume_m3:
        return head + f", on about {area}."
    return head + f"; about {_volume(hidden.uncounted_m3, system)} more was not counted, on about {area} in all."


def _volume(volume_m3: float, system: str) -> str:
    """A volume in the unit of the tank, or in that of a jug where the tank's would show next to nothing."""
    return format_value(volume_m3, "volume" if volume_m3 >= _JUG_M3 else "catch", system)


def board_messages(review: Review) -> list[str]:
    """What the board could not do, where it and the rig disagree, where the run left its calibrations behind."""
    health, said = review.health, [*review.board_misfits, *beyond_calibration(review.rig, review.passes)]
    if review.run.uninterpreted:
        said.append(f"{review.run.uninterpreted} reports in the file are of that other protocol and not part of this.")
    if health.dropped_pulses:
        said.append(dropped_message(health.dropped_pulses, health.put_back))
    said += refused_messages(review.refused)
    if health.unsent_lines:
        said.append(unsent_message(health.unsent_lines))
    return said


def apart_rows(review: Review) -> list[Mapping[str, Any]]:
    """The same for machines, SI: one row for each."""
    return [
        {
            "why": one.why.name.lower(),
            "start_s": one.start_s,
            "end_s": one.end_s,
            "volume_m3": one.volume_m3,
            "distance_m": one.distance_m,
            "seconds": one.seconds,
        }
        for one in review.unassigned
    ]
