"""What went wrong in a run, as text and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from host.pipeline import Fault
from host.pipeline.faults.alarm import AlarmEvent
from host.pipeline.faults.causes import CAUSES
from host.units import column_name, format_value, to_user

if TYPE_CHECKING:
    from host.review.review import Review

EXPANDED = 2.0  # coverage factor k of the expanded uncertainties shown: about 95 % (JCGM 100, 6.3.3)
_DOSED = {"under": ", under-dosed", "over": ", over-dosed"}
_ALARM = {"raised": "raised", "seen": "seen", "cleared": "over", "muted": "sound off", "unmuted": "sound on"}


def fault_lines(review: Review, system: str) -> list[str]:
    """When, what, for how long, on how much ground, and what to look at first; an empty line last."""
    if not review.watched:
        return []
    if not review.faults:
        return ["Faults   none found", f"  {baseline_words(review)}", ""]
    lines = ["Faults, as found in reading the run:"]
    for fault in review.faults:
        cause = CAUSES[fault.kind]
        lines += [
            f"  {began_words(review, fault)}  {fault.words}",
            f"            {measured_words(fault)}; {ground_words(fault, system)}",
            f"            first: {cause.check[0]}" + (f"; which? {cause.tell}" if fault.or_else and cause.tell else ""),
        ]
        told = alarm_words(review, fault)
        if told:
            lines.append(f"            alarm {told}")
    sound = sound_words(review)
    return [*lines, *([f"  alarm's {sound}"] if sound else []), f"  {baseline_words(review)}", ""]


def baseline_words(review: Review) -> str:
    """What the boom was held against, and so what could not be seen."""
    if review.rig.pressure is None:
        return "without a pressure transducer clogs, leaks and wear cannot be seen"
    if review.catch is not None:
        return f"the boom is held against the catch test of {review.catch.made:%Y-%m-%d}"
    return "the boom is held against its own first steady seconds: what was wrong from the start does not show"


def began_words(review: Review, fault: Fault) -> str:
    """When it began; one that shows against the catch test was there when steady spraying began, or earlier."""
    return review.at(fault.began_s) + (" or before" if fault.against_catch else "")


def measured_words(fault: Fault) -> str:
    """The change that was measured, and how sure the cause is."""
    sure = f"{fault.sure:.0%} sure" if fault.sure <= 0.99 else "more than 99% sure"
    if fault.change is None or fault.change_u is None:
        return sure
    against = " against the catch test" if fault.against_catch else ""
    return f"boom passes {fault.change:+.1%} ± {EXPANDED * fault.change_u:.1%}{against}; {sure}"


def ground_words(fault: Fault, system: str) -> str:
    """How long it lasted and what the ground got meanwhile."""
    lasted = "to the end" if fault.ended_s is None else f"for {fault.ended_s - fault.began_s:.0f} s"
    area = format_value(fault.area_m2, "area", system)
    return f"{lasted}, {area} sprayed meanwhile{_DOSED.get(fault.dosed, '')}"


def alarm_words(review: Review, fault: Fault) -> str:
    """When the alarm over a fault was raised, seen by somebody, and over; empty when there was none."""
    told = [one for one in review.alarms if one.number == fault.number]
    return ", ".join(f"{_ALARM[one.what]} {review.at(one.at_s)}" for one in told)


def sound_words(review: Review) -> str:
    """When the alarm's sound was switched off and on; empty when it never was."""
    told = [one for one in review.alarms if not one.number]
    return ", ".join(f"{_ALARM[one.what]} {review.at(one.at_s)}" for one in told)


def fault_json(fault: Fault, review: Review, system: str) -> dict[str, Any]:
    """One fault as a derived event; its area carries its unit."""
    row = fault.row(fault.ended_s if fault.ended_s is not None else review.health.duration_s)
    area = to_user(row.pop("area_m2"), "area", system)
    return row | {"at": review.at(fault.began_s), column_name("area", "area", system): area}


def alarm_json(event: AlarmEvent, review: Review) -> dict[str, Any]:
    """One event of the alarm; `fault` is the number of its fault, None for the sound."""
    return {"at_s": event.at_s, "at": review.at(event.at_s), "what": event.what, "fault": event.number or None}
