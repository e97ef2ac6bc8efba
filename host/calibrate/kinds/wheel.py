"""Wheel: rolled over one measured course, again and again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from host.calibrate.budget import assumed_messages, budget_measured, budget_section, good_to
from host.calibrate.checks import DECIMALS, LENGTHS, is_beyond, question, size_of
from host.calibrate.kinds.counted import CountedSession, Point
from host.calibrate.kinds.course_length import (
    LENGTH,
    TAPE,
    course_length,
    need_length,
    resumed_length,
    resumes_length,
    tape_accuracy,
)
from host.calibrate.kinds.kind import Field, Guided, Job, Kind, Outcome, Way, outcome_of
from host.calibrate.kinds.part import percent_known, rig_percent, signed_percent
from host.calibrate.kinds.runs import RUN_FIELDS, interval_typed
from host.calibrate.travel import TAPE_ACCURACY, WheelCalibration, calibrate_wheel
from host.documents.document import (
    Column,
    Document,
    Fact,
    Facts,
    Message,
    Messages,
    Section,
    Table,
    quantity,
)
from host.entries import Entries, read_whole
from host.errors import BadInputError, NotNowError
from host.rig import Rig
from host.units import format_value, significant_decimals

# Beyond these a wheel is asked about, and their reasons: see CARDS.md.
BEYOND, LAP_BEYOND = 0.08, 0.05
_WAYS = (
    Guided("count", "Measure now"),
    Way(
        "typed",
        "Type in numbers",
        (Field("pulses", "Pulses of one lap", "508", quantity="count"),),
        "Enter the pulses of one lap.",
        option="pulses",
        each=True,
    ),
    Way(
        "run",
        "Use a recorded run",
        RUN_FIELDS,
        "Mark the run at both ends of the course, standing still. Enter both marks.",
        option="from-run",
    ),
)
_MESSAGES = {
    "ready": "Stand with the wheel on the mark at the start of the course. Start, then walk it straight.",
    "again": "Back to the mark at the start for another lap: three tell how much the wheel slips. Start.",
    "running": "Stop with the wheel on the mark at the end of the course, then Stop.",
}


class WheelSession(CountedSession):
    """Laps over one course."""

    what = "wheel"
    messages = _MESSAGES

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self._course_m: float | None = None
        self._tape = TAPE_ACCURACY

    def settle(self, entries: Entries) -> None:
        """The length of the course."""
        self._course_m = course_length(entries, self.taken[0].amount if self.taken else None)
        self._tape = tape_accuracy(entries)

    def press(self, second: bool = False) -> str:
        """Start or stop; a lap is saved as it ends."""
        course_m = need_length(self._course_m)
        super().press()
        if self.counting.step != "stopped":
            return ""
        count = self.counting.take()
        self.taken.append(Point(count.pulses, count.duration_s, count.mean_counts, course_m))
        return self._saved(self.taken[-1])

    def _guided(self, entries: Entries) -> Point:
        raise NotNowError("a lap is saved as it ends: start and stop it.")

    def _typed(self, way: str, entries: Entries) -> Point:
        course_m = need_length(self._course_m)
        if way == "run":
            pulses = interval_typed(entries, self.job).wheel_pulses
            if not pulses:
                raise BadInputError("the wheel did not turn in this interval of the run: give other marks.")
            return Point(pulses, None, None, course_m)
        typed = entries.need("pulses", lambda text: read_whole(text, "The pulses"), "Enter the pulses counted.")
        entries.check()
        assert typed is not None
        return Point(typed, None, None, course_m)

    def _saved(self, point: Point) -> str:
        return f"Lap {len(self.taken)} saved: {point.pulses} pulses."

    def restore(self, rows: list[dict[str, Any]]) -> None:
        """From a draft, over the course that it had."""
        super().restore(rows)
        self._course_m = resumed_length(self._course_m, self.taken[0].amount)

    def points(self) -> Table:
        """Pulses of the laps."""
        rows = tuple((number, point.pulses) for number, point in enumerate(self.taken, start=1))
        return Table("", (Column("", "Lap"), Column("", "Pulses")), rows)

    def outcome(self) -> Outcome:
        """Distance per pulse."""
        rig, pulses = self.job.rig, [point.pulses for point in self.taken]
        assert rig.wheel is not None
        result = calibrate_wheel(need_length(self._course_m), pulses, self._tape)
        per_turn = rig.wheel.pulses_per_turn
        measured = budget_measured(result.uncertainty) | {
            "course_m": self._course_m,
            "pulses": pulses,
            "remarks": list(result.remarks),
        }
        document = wheel_document(result, pulses, per_turn, rig.units)
        return outcome_of(document, wheel_section(result, per_turn), measured, wheel_questions(result, self.job))


def wheel_document(result: WheelCalibration, pulses: Sequence[int], per_turn: int, system: str) -> Document:
    """The result as it is told: distance per pulse, circumference, each lap against the mean."""
    turn_m = result.metres_per_pulse * per_turn
    facts = Facts(
        (
            Fact("mm_per_pulse", "", 1e3 * result.metres_per_pulse),
            Fact("", "Circumference", f"{_length(turn_m, system)} at {per_turn} pulses per turn"),
            Fact("circumference", "", quantity(turn_m, "length", system)),
            Fact("pulses_per_turn", "", per_turn),
        )
    )
    rows = tuple(
        (number, count, signed_percent(residual, 2))
        for number, (count, residual) in enumerate(zip(pulses, result.residuals, strict=True), start=1)
    )
    laps = Table("laps", (Column("lap", "Lap"), Column("pulses", "Pulses"), Column("off", "Off by", "%")), rows)
    said = (Message(text, "advice") for text in result.remarks)
    remarks = Messages((*said, *assumed_messages(result.uncertainty)))
    sections = (Section("", "", (facts, laps, remarks)), budget_section(result.uncertainty, "fraction", system))
    known = f"{_length(result.metres_per_pulse, system)} per pulse"
    return Document("wheel", "Wheel", f"{known}, good to {good_to(result.uncertainty, 'fraction', system)}", sections)


def _length(metres: float, system: str) -> str:
    return format_value(metres, "spacing", system, decimals=significant_decimals(metres, "spacing", system, digits=4))


def wheel_questions(result: WheelCalibration, job: Job) -> list[str]:
    """What is odd about the distance per pulse, beside the one in use, and about the laps."""
    before = job.rig.wheel
    assert before is not None
    asked = []
    ratio = result.metres_per_pulse / before.metres_per_pulse
    if is_beyond(ratio, BEYOND):
        now, then = (_length(metres, job.rig.units) for metres in (result.metres_per_pulse, before.metres_per_pulse))
        statement = f"{now} per pulse, {size_of(ratio, 'more', 'less')} than the {then} of {job.source('wheel')}"
        asked.append(question(statement, ratio, (*LENGTHS, *DECIMALS), "check the course and the pulses"))
    worst = max(result.residuals, key=abs)
    if abs(worst) > LAP_BEYOND:
        number = result.residuals.index(worst) + 1
        asked.append(f"Lap {number} is {100 * worst:+.1f} % off the mean of all: mistyped, or did the wheel slip?")
    return asked


def wheel_section(result: WheelCalibration, pulses_per_turn: int) -> dict[str, Any]:
    """Section [wheel] of the rig."""
    return {
        "circumference": f"{result.metres_per_pulse * pulses_per_turn:.7g} m",
        "pulses_per_turn": pulses_per_turn,
        "uncertainty": rig_percent(result.uncertainty.carried),
    }


def _fits(rig: Rig) -> str:
    return "" if rig.wheel else "the rig file has no [wheel] section: calibrate the walking speed over a timed course."


KIND = Kind(
    name="wheel",
    title="Wheel",
    summary="pulses over a measured course",
    ways=_WAYS,
    settings=(LENGTH, TAPE),
    resumes=resumes_length("amount"),
    session=WheelSession,
    fits=_fits,
    plus_minus=percent_known("wheel"),
)
