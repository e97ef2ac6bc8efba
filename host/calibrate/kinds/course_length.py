"""The measured course that wheel and walking speed are calibrated over: one length for all laps of a calibration."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from host.calibrate.amounts import read_accuracy
from host.calibrate.kinds.kind import Field
from host.calibrate.travel import TAPE_ACCURACY
from host.entries import Entries, above_zero
from host.errors import BadInputError, NotNowError

LENGTH = Field("course", "Length of the course", "200 ft", "60 m", quantity="length", keeps=True)

TAPE = Field("tape", "Tape may be off by (blank: 0.5 %)", "0.5 %", required=False, tool=True, of_tool=True)


def tape_accuracy(entries: Entries) -> float:
    """How far the length of the course may be off, a fraction to either side."""
    accuracy = entries.read("tape", lambda text: read_accuracy(text, "The tape"))
    return TAPE_ACCURACY if accuracy is None else accuracy


def course_length(entries: Entries, laps_m: float | None) -> float | None:
    """The length (m) that was typed, or `laps_m`, that of the laps there are; None, and said, when it cannot be."""
    if laps_m is not None and not entries.given("course"):
        return laps_m
    length_m = entries.need("course", above_zero("length", "The course"), "Enter the length of the course.")
    if length_m is not None and laps_m is not None and abs(length_m / laps_m - 1.0) > 1e-9:
        entries.sentences["course"] = (
            f"The laps so far were over {laps_m:.2f} m: give that length, or undo them. All laps of one calibration go "
            "over one course."
        )
        return laps_m
    return length_m


def resumes_length(key: str) -> Callable[[list[dict[str, Any]]], dict[str, float]]:
    """Gives the field `LENGTH` of a draft in whose rows the course's length (m) is under `key`."""

    def resumes(rows: list[dict[str, Any]]) -> dict[str, float]:
        length_m = rows[0].get(key) if rows else None
        return {LENGTH.name: float(length_m)} if isinstance(length_m, int | float) and length_m > 0 else {}

    return resumes


def resumed_length(typed_m: float | None, laps_m: float) -> float:
    """The length of a draft's laps. Raises UserError when another one was typed."""
    if typed_m is not None and abs(typed_m / laps_m - 1.0) > 1e-9:
        raise BadInputError(f"the laps in the draft were over a course of {laps_m:.2f} m: give that length")
    return laps_m


def need_length(length_m: float | None) -> float:
    """The length, which the settings give. Raises UserError without one."""
    if length_m is None:
        raise NotNowError("measure and mark a course, and enter its length first.")
    return length_m
