"""What the alarms of a run went by, and what they did: raised, seen, silenced, over."""

from __future__ import annotations

from host.documents.document import Column, Fact, Facts, Section, Table
from host.documents.words import capital
from host.errors import visible
from host.events import ALARM_MUTED, ALARM_SEEN, ALARM_UNMUTED
from host.review.fault_sections import words_of
from host.review.ground_sections import target_words
from host.review.review import Review
from host.units import format_value

_WORDS = {
    "raised": "Alarm on",
    "seen": "Got it",
    "cleared": "Alarm off",
    "muted": "Sound muted",
    "unmuted": "Sound back on",
}
_TAPS = {"seen": ALARM_SEEN, "muted": ALARM_MUTED, "unmuted": ALARM_UNMUTED}


def alarm_section(review: Review, system: str) -> Section:
    """The settings, then a row for each event; `fault` is the number of its fault, None for the sound."""
    settings = Facts(
        (
            Fact("", "Target", target_words(review.rig.target, system)),
            Fact("", "Tank low at", format_value(review.rig.tank.warn_m3, "volume", system)),
            Fact("", "Faults compared with", _reference(review)),
        )
    )
    words = {fault.number: capital(visible(words_of(fault, review))) for fault in review.faults}
    rows = tuple(
        (event.at_s, event.what, event.number or None, review.at(event.at_s), _WORDS[event.what],
         words.get(event.number, ""), _by(review, event.what, event.at_s))
        for event in review.alarms
    )  # fmt: skip
    columns = (
        *(Column("at_s", ""), Column("what", ""), Column("fault", "")),
        *(Column("", "Time"), Column("", "What"), Column("", "Fault"), Column("by", "By")),
    )
    return Section(
        "",
        "Alarms",
        (settings, Table("alarms", columns, rows, title="What the alarm did", empty="No alarm in this run.")),
    )


def _reference(review: Review) -> str:
    if not review.watched:
        return "nothing: faults were not looked for"
    return "the catch test" if review.catch else "this run's first steady seconds"


def _by(review: Review, what: str, at_s: float) -> str:
    """The guest of a shared page who tapped; empty for the keeper."""
    taps = [event for event in review.run.events if event.kind == _TAPS.get(what) and event.host_s == at_s]
    return visible(str(taps[0].detail.get("by", ""))) if taps else ""
