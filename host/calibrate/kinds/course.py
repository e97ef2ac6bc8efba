"""Walking speed without a wheel: laps over a measured course, timed here or typed in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from host.calibrate.budget import assumed_messages, budget_measured, budget_section, good_to
from host.calibrate.checks import DECIMALS, LENGTHS, TIMES, is_beyond, powers, question, size_of
from host.calibrate.drafts import not_whole
from host.calibrate.kinds.counted import drop
from host.calibrate.kinds.course_length import (
    LENGTH,
    TAPE,
    course_length,
    need_length,
    resumed_length,
    resumes_length,
    tape_accuracy,
)
from host.calibrate.kinds.kind import Field, Guided, Job, Kind, Outcome, Session, Step, Way, outcome_of
from host.calibrate.kinds.part import percent_known, rig_percent, signed_percent
from host.calibrate.travel import TAPE_ACCURACY, CourseCalibration, calibrate_course
from host.documents.document import Column, Document, Fact, Facts, Message, Messages, Section, Table, quantity
from host.entries import Entries, above_zero
from host.errors import NotNowError
from host.rig import Rig
from host.units import FOOT_M, format_value

# Beyond these a walking speed is asked about, and their reasons: see CARDS.md.
BEYOND, LAP_BEYOND = 0.5, 0.15
SLOWEST_M_S, FASTEST_M_S = 0.4, 3.6
_WAYS = (
    Guided("watch", "Stopwatch", board="none"),
    Way(
        "typed",
        "Type in numbers",
        (Field("time", "Time of one lap", "55 s", quantity="time"),),
        "Enter the time of one lap.",
        option="times",
        each=True,
    ),
)
_ASSUMED = "A run uses this speed as it is: the speed is assumed then, not measured. Walk by a beat."


class CourseSession(Session):
    """Laps over one course, with a stopwatch."""

    cautions = (
        "Walk with clean water in the tank, half full, as you walk when you spray; nothing needs to be sprayed.",
        "Wear gloves where hoses drip, and look where you walk, not at the screen.",
    )

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self._course_m: float | None = None
        self._tape = TAPE_ACCURACY
        self._times_s: list[float] = []
        self._started: float | None = None

    def settle(self, entries: Entries) -> None:
        """The length of the course."""
        self._course_m = course_length(entries, self._course_m if self._times_s else None)
        self._tape = tape_accuracy(entries)

    @property
    def running(self) -> bool:
        """Whether a lap is being timed."""
        return self._started is not None

    def step(self) -> Step:
        """What to do next."""
        if self._started is not None:
            message = "Walk at your spraying speed. Stop as you pass the mark at the end of the course."
            seconds = f"{self.job.clock() - self._started:.0f}"
            return Step(message, "Stop", figure=seconds, about="s", in_progress=True)
        if not self._times_s:
            message = "Walk up to the course at your spraying speed. Start as you pass the mark at its start."
        elif len(self._times_s) < 3:
            message = f"Turn round for lap {len(self._times_s) + 1}: three laps tell how even your speed is."
        else:
            message = "Finish, or time one more lap."
        return Step(message, "Start")

    def press(self, second: bool = False) -> str:
        """Start or stop the watch."""
        course_m = need_length(self._course_m)
        if self._started is None:
            self._started = self.job.clock()
            return ""
        time_s = self.job.clock() - self._started
        if time_s < 1.0:
            raise NotNowError("that was less than a second: go on, and stop at the mark at the end of the course.")
        self._started = None
        self._times_s.append(time_s)
        speed = format_value(course_m / time_s, "speed", self.job.rig.units)
        return f"Lap {len(self._times_s)} saved: {time_s:.1f} s, {speed}."

    def save(self, way: str, entries: Entries) -> str:
        """Take a time that was typed."""
        time_s = entries.need("time", above_zero("time", "The time"), "Enter the time of the lap.")
        entries.check()
        assert time_s is not None
        need_length(self._course_m)
        self._times_s.append(time_s)
        return f"Lap {len(self._times_s)} saved."

    @property
    def can_undo(self) -> bool:
        """Whether a lap is being timed or was taken."""
        return self.running or bool(self._times_s)

    def undo(self, number: int | None = None) -> str:
        """Drop the lap in progress, or the last one, or lap `number`."""
        if self._started is not None:
            self._started = None
            return "The lap in progress is dropped."
        return drop(self._times_s, number)

    def rows(self) -> list[dict[str, Any]]:
        """For the draft."""
        return [{"course_m": self._course_m, "time_s": time} for time in self._times_s]

    def restore(self, rows: list[dict[str, Any]]) -> None:
        """From a draft, over the course that it had."""
        try:
            laps_m, times = float(rows[0]["course_m"]), [float(row["time_s"]) for row in rows]
        except (KeyError, TypeError, ValueError):
            raise not_whole() from None
        self._course_m, self._times_s = resumed_length(self._course_m, laps_m), times

    def points(self) -> Table:
        """The times."""
        rows = tuple((number, f"{time:.1f}") for number, time in enumerate(self._times_s, start=1))
        return Table("", (Column("", "Lap"), Column("", "Time", "s")), rows)

    def check(self) -> None:
        """Whether no lap is half walked."""
        if self.running:
            raise NotNowError("a lap is being timed: stop it, or undo, before you finish.")

    def outcome(self) -> Outcome:
        """Speed, and how even it was."""
        result = calibrate_course(need_length(self._course_m), self._times_s, self._tape)
        measured = budget_measured(result.uncertainty) | {
            "course_m": self._course_m,
            "times_s": list(self._times_s),
            "remarks": list(result.remarks),
        }
        document = course_document(result, self._times_s, self.job.rig.units)
        return outcome_of(document, course_section(result), measured, course_questions(result, self.job))


def course_document(result: CourseCalibration, times_s: Sequence[float], system: str) -> Document:
    """The result as it is told: speed, how far the laps vary, each lap against the mean."""
    speed = quantity(result.speed_m_s, "speed", system)
    facts = [
        Fact("speed", "", speed),
        Fact("", "Also", f"{result.speed_m_s / FOOT_M:.2f} ft/s, {result.speed_m_s:.3f} m/s"),
    ]
    if result.spread is not None:
        facts.append(Fact("spread", "Your laps vary by", quantity(result.spread, "fraction", system)))
    facts.append(Fact("", "Mean of many laps good to", good_to(result.mean, "fraction", system)))
    rows = tuple(
        (number, quantity(time, "time", system), signed_percent(residual))
        for number, (time, residual) in enumerate(zip(times_s, result.residuals, strict=True), start=1)
    )
    columns = (Column("lap", "Lap"), Column("time", "Time", "s"), Column("off", "Off by", "%"))
    said = (Message(text, "advice") for text in result.remarks)
    remarks = Messages((*said, *assumed_messages(result.uncertainty), Message(_ASSUMED)))
    sections = (
        Section("", "", (Facts(tuple(facts)), Table("laps", columns, rows), remarks)),
        budget_section(result.uncertainty, "fraction", system),
    )
    good = good_to(result.uncertainty, "fraction", system)
    return Document("course", "Walking speed", f"{speed.text}, good to {good} for one more lap", sections)


def course_questions(result: CourseCalibration, job: Job) -> list[str]:
    """What is odd about the speed, beside the one in use and what people walk, and about the laps."""
    before, speed, system = job.rig.course, result.speed_m_s, job.rig.units
    assert before is not None
    asked = []
    ratio = speed / before.speed_m_s
    slips = (*LENGTHS, *powers(TIMES, -1), *DECIMALS)
    now, then = (format_value(one, "speed", system) for one in (speed, before.speed_m_s))
    if is_beyond(ratio, BEYOND):
        statement = f"{now}, {size_of(ratio, 'faster', 'slower')} than the {then} of {job.source('course')}"
        asked.append(question(statement, ratio, slips, "check the course and the times"))
    elif not SLOWEST_M_S <= speed <= FASTEST_M_S:
        low, high = (format_value(one, "speed", system) for one in (SLOWEST_M_S, FASTEST_M_S))
        asked.append(
            f"{now} is not what small sprayers are walked or towed at, {low} to {high}: check course and times."
        )
    worst = max(result.residuals, key=abs)
    if abs(worst) > LAP_BEYOND:
        number = result.residuals.index(worst) + 1
        asked.append(f"Lap {number} is {100 * worst:+.0f} % off the mean of all: mistyped, or a stumble?")
    return asked


def course_section(result: CourseCalibration) -> dict[str, Any]:
    """Section [course] of the rig."""
    return {
        "distance": f"{result.distance_m:.7g} m",
        "time": f"{result.time_s:.7g} s",
        "uncertainty": rig_percent(result.uncertainty.carried),
        "pass_spread": rig_percent(result.pass_spread),
    }


def _fits(rig: Rig) -> str:
    return "" if rig.course else "the rig file has no [course] section: the speed comes from the wheel; calibrate that."


KIND = Kind(
    name="course",
    title="Walking speed",
    summary="walking speed without a wheel: times over a measured course",
    ways=_WAYS,
    settings=(LENGTH, TAPE),
    resumes=resumes_length("course_m"),
    session=CourseSession,
    fits=_fits,
    plus_minus=percent_known("course"),
)
