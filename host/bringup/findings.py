"""What a check found, as bring-up shows it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Grade(StrEnum):
    """How a finding is to be taken."""

    GOOD = "good"
    NOTE = "note"  # worth knowing, breaks nothing
    BAD = "bad"  # the board does not do what PROTOCOL.md asks, or a part of the sprayer is not there


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at: what, how it was, and in a few words what was seen or what to do."""

    grade: Grade
    what: str
    seen: str


def judge(good: bool, what: str, seen: str, otherwise: Grade = Grade.BAD) -> Finding:
    """A finding that is good or `otherwise`."""
    return Finding(Grade.GOOD if good else otherwise, what, seen)
