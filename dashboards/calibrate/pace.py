"""Pace without a wheel: passes over a measured course, timed here or typed in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from dashboards.calibrate import answers
from dashboards.calibrate.answers import Rows
from dashboards.calibrate.sessions import TYPED, WATCH, Outcome, Stand, Typed, one_course
from dashboards.ui.forms import Entries, above_zero
from firmware_protocol.messages import Report
from host.calibrate import card_sections
from host.calibrate.course_guide import CAUTIONS, CourseGuide
from host.calibrate.drafts import Draft, course_of, course_rows
from host.calibrate.travel import calibrate_course
from host.errors import UserError
from host.rig import Rig


class CourseSession:
    """A timed course. `clock` gives seconds that never jump."""

    ways: Mapping[str, str] = {WATCH: "Stopwatch", TYPED: "Typed in"}
    cautions = CAUTIONS

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._guide: CourseGuide | None = None

    def check(self, rig: Rig) -> None:
        """Whether this rig can be calibrated so."""
        if rig.course is None:
            raise UserError("the rig file has no [course] section: its pace comes from the wheel; choose Wheel.")

    def watch(self, report: Report, adc_full_scale: float) -> None:
        """No board takes part."""

    def running(self) -> bool:
        """No report is wanted."""
        return False

    def stand(self, way: str) -> Stand:
        """How things stand."""
        if way == TYPED:
            return Stand("Enter the length of the course and the time of one pass.", group=TYPED, enter="Enter")
        guide = self._guide
        if guide is None:
            say = "Measure and mark a course, and enter its length. Begin as you pass its first mark at spraying pace."
            return Stand(say, act="Begin", group=WATCH)
        if guide.step == "running":
            return Stand(guide.say(), act="End", counted=f"{guide.seconds():.0f}", about="s")
        return Stand(guide.say(), act="Begin", group=WATCH)

    def settle(self, typed: Typed) -> None:
        """Nothing holds for the whole calibration."""

    def act(self, typed: Typed) -> str:
        """Start or stop the watch."""
        if self._guide is not None and self._guide.step == "running":
            time = self._guide.end()
            return f"Taken: pass {len(self._guide.times_s)}, {time:.1f} s."
        self._over(Entries(typed)).begin()
        return "The watch runs."

    def enter(self, way: str, typed: Typed, rig: Rig) -> str:
        """Take a time that was typed."""
        entries = Entries(typed)
        time = entries.need("time", above_zero("time", "The time"), "Enter the time of the pass.")
        guide = self._over(entries)
        assert time is not None
        guide.times_s.append(time)
        return f"Taken: pass {len(guide.times_s)}. Walk it three times."

    def _over(self, entries: Entries) -> CourseGuide:
        """The guide over the course that was typed; another course only when no pass was taken."""
        times = self._guide.times_s if self._guide else []
        distance = one_course(entries, self._guide.distance_m if self._guide and times else None)
        entries.check()
        assert distance is not None
        if self._guide is None or not times:
            self._guide = CourseGuide(distance, self._clock)
        return self._guide

    def can_undo(self) -> bool:
        """Whether a pass runs or was taken."""
        return self._guide is not None and (bool(self._guide.times_s) or self._guide.step == "running")

    def undo(self, number: int | None) -> str:
        """One step back, or drop one."""
        if self._guide is None:
            raise UserError("there is nothing to undo.")
        return self._guide.undo(number)

    def taken(self, rig: Rig) -> Rows | None:
        """The times."""
        return answers.passes_taken("s", [f"{time:.1f}" for time in self._times()])

    def _times(self) -> list[float]:
        return self._guide.times_s if self._guide else []

    def rows(self) -> list[dict[str, Any]]:
        """For the draft."""
        return course_rows(self._guide.distance_m, self._guide.times_s) if self._guide else []

    def restore(self, draft: Draft) -> None:
        """From a draft."""
        distance, times = course_of(draft)
        self._guide = CourseGuide(distance, self._clock)
        self._guide.times_s = times

    def whole(self) -> None:
        """Whether no pass is half walked."""
        if self._guide is not None and self._guide.step == "running":
            raise UserError("a pass is running: end it, or undo, before you save.")

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""
        times = self._times()
        distance = self._guide.distance_m if self._guide else 0.0
        result = calibrate_course(distance, times)
        record = card_sections.uncertainty_record(result.uncertainty) | {"course_m": distance, "times_s": times}
        return Outcome(
            answers.course_answer(result, times, rig.units),
            card_sections.course_section(result),
            record | {"remarks": list(result.remarks)},
        )
