"""What does not belong to known ground, and what the board said went wrong, as messages for a person."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from host.documents.document import duration, quantity
from host.documents.words import listed, plural
from host.pipeline import Unassigned, Why
from host.pipeline.rows import DRY
from host.review.beyond import beyond_calibration, pressure_against_flow, speed_against_walking
from host.review.board_said import (
    OTHER_BOARD,
    SWITCH_BACKWARDS,
    boards_message,
    dropped_message,
    interval_message_of_run,
    other_boards_s,
    pressure_message,
    refused_messages,
    switch_message,
    unsent_message,
)
from host.review.hidden_ground import hidden_behind, hidden_in, joined
from host.review.transducer_check import swapped_wires
from host.units import format_value, format_volume

if TYPE_CHECKING:
    from host.review.review import Review

_NEXT_TO_NOTHING = 1e-3  # of the volume
_SEEN = 0.002  # of the volume: less is not worth a sentence unless something happened
_SILENT_END_S = 10.0  # a board that is unplugged before the run is stopped is worth no sentence
_NOT_HEARD = "nothing came from the board. What was sprayed then is not known"
REASONS = {
    Why.SILENCE: "Nothing came from the board",
    Why.RESTART: "The board restarted; what was pumped while it was down is not counted",
    Why.OTHER_COUNTS: "The board's counts did not go on: another board, or damage on the line",
    Why.DROPPED: "The board dropped pulses",
    Why.NO_WHEEL: "The board has no wheel input",
    Why.NO_METER: "The board has no flow meter input",
    Why.SWITCH_OPEN: "It flowed although the spray was off: look at switch, valve and drips",
    Why.REFUSED: "Pulses were refused",
    Why.NO_PULSES: "No wheel pulses while spraying: it stood still, or the wheel's sensor failed",
    Why.NO_WATER: "The spray was on, but no water came",
    Why.NOT_METERED: "The spray was on, but the meter counted nothing: it failed, or no water came",
    Why.NEITHER: "The spray was on, but neither meter nor wheel counted: both failed, or it stood with the water shut",
    Why.UNHEARD: "Nothing came from the board any more",
    Why.BOUNCES: "A contact bounces and the board did not filter it, so that its pulses may be several for one",
}
_TOLD_ONCE = (Why.NO_METER, Why.NO_WHEEL, Why.BOUNCES, Why.REFUSED)  # of which the board's own message says why


def apart_messages(review: Review, system: str) -> list[str]:
    """One sentence for each thing that is kept apart from the rate, with what part of it may be sprayed ground."""
    said = []
    for why in _TOLD_ONCE:
        alike = [one for one in review.unassigned if one.why is why]
        if alike:
            said.append(_message_of_all(alike, review, system))
    dry = {why: [one for one in review.unassigned if one.why is why] for why in DRY}
    said += [_dry_message(alike, review, system) for alike in dry.values() if alike]
    for one in joined(one for one in review.unassigned if one.why not in (*_TOLD_ONCE, *DRY)):
        small = one.volume_m3 < _SEEN * review.totals.volume_m3
        if one.why is Why.SWITCH_OPEN and small:
            continue
        said.append(_message(one, review, system))
    return said


def _message(one: Unassigned, review: Review, system: str) -> str:
    totals = review.totals
    hidden = hidden_behind(one, review.known)
    area = quantity(hidden.area_m2, "area", system)
    if one.why is Why.UNHEARD:
        volume = format_volume(hidden.uncounted_m3, system)
        on_ground = "" if area.reads_zero else f" on {area.text}"
        most = f": up to {volume}{on_ground}" if hidden.uncounted_m3 > 0 else ""
        return f"{review.at(one.start_s)} to the end: {_NOT_HEARD}{most}."
    volume, way = format_volume(one.volume_m3, system), format_value(one.distance_m, "length", system)
    amount = volume if one.why is Why.NO_PULSES else f"{volume} and {way}"
    head = f"{review.at(one.start_s)}: {REASONS[one.why]}. {amount} in {one.seconds:.1f} s are not assigned"
    if not totals.rate_m3_m2 or one.why is Why.SWITCH_OPEN:
        return head + "."
    more = ""
    if one.why not in (Why.NO_PULSES, Why.SILENCE) and hidden.uncounted_m3 >= _NEXT_TO_NOTHING * totals.volume_m3:
        more = f"; about {format_volume(hidden.uncounted_m3, system)} more was not counted"
    if area.reads_zero:
        return f"{head}{more}."
    if one.why is Why.NO_PULSES:
        return f"{head}: if it walked, about {area.text} was sprayed ground."
    if one.why is Why.SILENCE:
        return f"{head}: about {area.text} of it was sprayed ground."
    return f"{head}{more}, on about {area.text}{' in all' if more else ''}."


def _dry_message(alike: Sequence[Unassigned], review: Review, system: str) -> str:
    """With the spray on and nothing counted: how much ground got nothing, or nobody knows what."""
    why, hidden = alike[0].why, hidden_in(alike, review.known)
    got, area_m2 = "got nothing", hidden.dry_m2
    if why is not Why.NO_WATER:
        volume = format_volume(hidden.uncounted_m3, system)
        got, area_m2 = f"got nothing, or up to {volume} that was not counted", hidden.area_m2
    area, way = (
        format_value(area_m2, "area", system),
        format_value(math.fsum(one.distance_m for one in alike), "length", system),
    )
    seconds = duration(math.fsum(one.seconds for one in alike)).text
    times = f", {len(alike)} times until {review.at(alike[-1].end_s)}" if len(alike) > 1 else ""
    much = f"In {seconds} about {area}" if why is Why.NEITHER else f"{way} in {seconds}, {area},"
    return f"{review.at(alike[0].start_s)}{times}: {REASONS[why]}. {much} {got}."


def _message_of_all(alike: Sequence[Unassigned], review: Review, system: str) -> str:
    """All that is apart for one reason, from the first to the last of it."""
    metered = math.fsum(one.volume_m3 for one in alike)
    volume = format_volume(metered, system)
    seconds = duration(math.fsum(one.seconds for one in alike)).text
    first, last = review.at(alike[0].start_s), review.at(alike[-1].end_s)
    # Of a part that the board lacks, its own message says so.
    why = "" if alike[0].why in (Why.NO_WHEEL, Why.NO_METER) else f"{REASONS[alike[0].why]}. "
    if math.isnan(metered):
        unmetered = _unmetered(math.fsum(one.distance_m for one in alike), seconds, review, system)
        return f"{first} to {last}: {why}{unmetered[0].upper() if why else unmetered[0]}{unmetered[1:]}"
    head = f"{first} to {last}: {why}{volume} in {seconds} of spraying are not assigned"
    hidden = hidden_in(alike, review.known)
    if not hidden.area_m2 > 0:
        return head + ": how much ground it was is not known."
    return head + f", on about {format_value(hidden.area_m2, 'area', system)}."


def _unmetered(way_m: float, seconds: str, review: Review, system: str) -> str:
    """What there is to go by without a flow meter input: the switch, and the way."""
    if not review.measured.switch:
        return "whether it sprayed is not known."
    over = f" over {format_value(way_m, 'length', system)}" if math.isfinite(way_m) else ""
    return f"the spray was switched on for {seconds}{over}: how much went down is not known."


def board_messages(review: Review, system: str) -> list[str]:
    """What the board could not do, where it and the rig disagree, where the run left its calibrations behind."""
    health, said = review.health, [*_unheard(review), *review.board_misfits]
    said += beyond_calibration(review.rig, review.passes)
    if review.run.uninterpreted:
        said.append(f"{review.run.uninterpreted} reports in the file are of that other protocol and not part of this.")
    if health.dropped_pulses:
        said.append(dropped_message(health.dropped_pulses, health.put_back))
    said += refused_messages(review.refused)
    disagree = (
        boards_message(review.run.frames),
        _other_boards(review),
        pressure_message(review.run.frames),
        switch_message(review.passes),
        _switch_backwards(review),
        interval_message_of_run(review.run),
        speed_against_walking(review.rig, review.passes, system),
        swapped_wires(review.track, review.passes, review.rig),
        pressure_against_flow(review.rig, review.track, review.faults, review.unassigned),
    )
    said += [one for one in disagree if one]
    if health.unsent_lines:
        said.append(unsent_message(health.unsent_lines))
    return said


def _other_boards(review: Review) -> str:
    """That another board took the first one's place; of two that speak in turn `boards_message` says so."""
    came_s = [] if review.totals.doubt else other_boards_s(review.run.events)
    return ", ".join(review.at(at_s) for at_s in came_s) + f": {OTHER_BOARD}" if came_s else ""


def _switch_backwards(review: Review) -> str:
    since_s = review.switch_backwards_s
    if math.isnan(since_s):
        return ""
    return f"{SWITCH_BACKWARDS} From {review.at(since_s)} on the flow alone says when it sprayed."


CALIBRATED = "a calibration"


def calibration_messages(review: Review) -> Iterator[str]:
    """When the run served a calibration, of what, and what that means for faults and for what was sprayed standing."""
    for span in review.calibrations:
        named = [_CALIBRATED[kind] for kind in span.kinds if kind in _CALIBRATED]
        until = "the end" if span.end_s is None else review.at(span.end_s)
        what = f" of {listed(named)}" if named else ""
        yield (
            f"{review.at(span.begin_s)} to {until}: {CALIBRATED}{what}. What was sprayed standing still was for it, "
            "and what such spraying looks like is not called a fault."
        )


_CALIBRATED = {"meter": "the flow meter", "boom": "the boom", "pressure": "the transducer", "wheel": "the wheel"}


def timed_pace_message(review: Review, system: str) -> str:
    """Where the ground is not measured: from what it is taken, and what that means; empty for a rig with a wheel."""
    if review.rig.course is None or not review.passes:
        return ""
    pace = format_value(review.rig.course.speed_m_s, "speed", system)
    return (
        f"The ground is not measured: it is the time sprayed, at the timed {pace}. Walked 5 % slower, a pass is 5 % "
        "shorter and got 5 % more than it says here. The ± of area and rate holds a walker as even as when timed."
    )


def _unheard(review: Review) -> list[str]:
    """That no report was read, or none towards the end of the run."""
    run, end_s = review.run, next((event.host_s for event in review.run.events if event.kind == "run_end"), None)
    if not run.frames.size:
        if run.wire_damage:
            return [f"No report could be read: {plural(run.wire_damage, 'line')} came damaged."]
        return [] if run.uninterpreted else ["Nothing came from the board: is it the right port, has the board power?"]
    last_s = float(run.frames["host_s"][-1])
    if end_s is None or end_s - last_s < _SILENT_END_S or any(one.why is Why.UNHEARD for one in review.unassigned):
        return []
    return [f"{review.at(last_s)} to the end: {_NOT_HEARD}."]


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
