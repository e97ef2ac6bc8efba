"""The kinds of event in a run file, and the keys of each: RUN_FILE.md's tables as the code uses them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from host.frames import Event

# What people do about an alarm; the alarm itself is derived and never in a file.
ALARM_SEEN, ALARM_MUTED, ALARM_UNMUTED = "alarm_seen", "alarm_muted", "alarm_unmuted"

# A break of the work; the run goes on meanwhile.
WORK_PAUSED, WORK_RESUMED = "work_paused", "work_resumed"

# The page Calibrate took a step of a calibration in this run, and was done with it: `text` is its kind, as on cards.
CALIBRATION, CALIBRATION_END = "calibrating", "calibrated"

# What happened to the file and to the computer.
FILE_RESCUED, COMPUTER_PAUSED = "file_rescued", "computer_paused"

MOST_M3 = 1e3  # no sprayer's tank, nor a number that a person meant
_MOST = 1e12
NUMBER, TEXT = "number", "text"

UNDOABLE = ("refill", "mark")

# Keys of an event beside its kind, none of which must be there, and what each holds.
EVENT_KEYS: dict[str, dict[str, str]] = {
    "run_start": {"tank_m3": NUMBER},
    "mix": {"toml": TEXT},
    "refill": {"added_m3": NUMBER, "to_m3": NUMBER, "text": TEXT, "by": TEXT},
    "mark": {"text": TEXT, "by": TEXT},
    "mark_text": {"text": TEXT, "by": TEXT},
    "undo": {"of": TEXT, "by": TEXT},
    ALARM_SEEN: {"by": TEXT},
    ALARM_MUTED: {"by": TEXT},
    ALARM_UNMUTED: {"by": TEXT},
    WORK_PAUSED: {"by": TEXT},
    WORK_RESUMED: {"by": TEXT},
    CALIBRATION: {"text": TEXT, "by": TEXT},
    CALIBRATION_END: {"text": TEXT, "by": TEXT},
    "link_lost": {"reason": TEXT},
    "link_back": {},
    "board_start": {"boot": NUMBER},
    "disk_full": {"reason": TEXT},
    "disk_back": {},
    "lines_lost": {"count": NUMBER, "reason": TEXT},
    FILE_RESCUED: {"reason": TEXT, "file": TEXT},
    COMPUTER_PAUSED: {"seconds": NUMBER},
    "run_end": {"reason": TEXT},
}

# Notes that are read as quantities; any other key is free text.
NOTE_TANK_LEFT, NOTE_MIX, NOTE_LABEL_LIMIT = "tank left", "mix", "label limit"
NOTE_REFILL = "refill not recorded"  # confirmed afterwards, in addition to the run's own events

# Each with the kinds of quantity (host.units) that it may be.
NOTE_QUANTITIES: dict[str, tuple[str, ...]] = {
    NOTE_TANK_LEFT: ("volume",),
    NOTE_REFILL: ("volume",),
    NOTE_MIX: ("fraction", "density"),
    NOTE_LABEL_LIMIT: ("rate", "mass_per_area"),
}


def note_key(text: str) -> str:
    """A note's key as it is kept: "Tank left", "tank_left" and "tank  left" are one."""
    return " ".join(text.replace("_", " ").split()).lower()


def as_meant(events: Iterable[Event]) -> list[Event]:
    """The events without those that were undone, and with the words of a mark in the mark itself.

    An `undo` takes the last event of its kind that still holds; one that finds none changes nothing.
    """
    meant: list[Event] = []
    for event in events:
        undone = str(event.detail.get("of")) if event.kind == "undo" else ""
        of = undone or ("mark" if event.kind == "mark_text" else "")
        if not of:
            meant.append(event)
            continue
        place = next((at for at in range(len(meant) - 1, -1, -1) if meant[at].kind == of), None)
        if place is None:
            continue
        if undone:
            if of in UNDOABLE:
                del meant[place]
        else:
            words = {"text": str(event.detail.get("text", ""))}
            meant[place] = replace(meant[place], detail=meant[place].detail | words)
    return meant


def check_event(kind: str, keys: set[str]) -> None:
    """Raise ValueError for a kind or a key that RUN_FILE.md does not name."""
    if kind not in EVENT_KEYS:
        raise ValueError(f"no such kind of event: {kind}")
    if unknown := keys - EVENT_KEYS[kind].keys():
        raise ValueError(f"an event {kind} has no key {', '.join(sorted(unknown))}")


def number_of(event: Event, key: str) -> float | None:
    """The number under one of the event's keys; None where it is missing, below zero, absurd or no number.

    Whatever a file holds, the run stays readable. Raises KeyError for a key that the table does not give this kind.
    """
    if EVENT_KEYS[event.kind][key] != NUMBER:
        raise KeyError(key)
    value = event.detail.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if 0 <= value < (MOST_M3 if key.endswith("_m3") else _MOST) else None


def pause_message(seconds: float | None) -> str:
    """That the computer slept, or the recorder was held up, for so long; None where the file does not say."""
    lasted = "for a while" if seconds is None else f"for {round(seconds)} s"
    return f"The computer slept {lasted}. Nothing was recorded meanwhile."
