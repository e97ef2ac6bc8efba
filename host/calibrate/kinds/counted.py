"""What meter, wheel and transducer have in common: points that the board counts, or that are typed in."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from firmware_protocol.messages import Report
from host.calibrate.counting import Count, Counting, What
from host.calibrate.drafts import point_from
from host.calibrate.kinds.kind import Field, Job, Session, Step
from host.calibrate.vessels import Vessel
from host.entries import Entries
from host.errors import BadInputError, NotNowError

_NUMBER = int | float
_JUG = {"name": str, "step_m3": _NUMBER, "accuracy": _NUMBER, "tool": str, "density_spread": _NUMBER}


@dataclass(frozen=True)
class Point:
    """What was counted, and the amount (SI) that belongs to it; `vessel` is what a caught amount was measured with,
    `typed` the amount as it was typed."""

    pulses: int
    duration_s: float | None
    mean_counts: float | None
    amount: float
    vessel: Vessel | None = None
    typed: str = ""


_TYPES = {
    "pulses": _NUMBER,
    "duration_s": _NUMBER | None,
    "mean_counts": _NUMBER | None,
    "amount": _NUMBER,
    "vessel": dict | None,
    "typed": str,
}


class CountedSession(Session):
    """Start -> Stop -> what it was, and again. What differs from kind to kind is what it is and what is said."""

    what: What
    amount: tuple[Field, ...] = ()  # asked for after Stop
    save_word = "Save"
    next_word = ""  # on a button that starts the next one, too
    pictures = ("", "")  # before Start, and while the amount is asked for
    messages: Mapping[str, str]  # by step: ready, again, running, stopped

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self.taken: list[Point] = []
        self._guided_points: list[Point] = []  # those whose amount can be corrected
        self.counting = Counting(self.what)
        self.adc_full_scale = 1023.0

    def watch(self, report: Report, adc_full_scale: float) -> None:
        """Take a report of the board."""
        self.adc_full_scale = adc_full_scale
        self.counting.watch(report)

    @property
    def running(self) -> bool:
        """Whether the board is counting for it."""
        return self.counting.step == "running"

    def step(self) -> Step:
        """What to do next."""
        step = self.counting.step
        message = self.messages["again" if step == "ready" and self.taken else step]
        if step == "ready":
            return Step(message, "Start", picture=self.pictures[0], needs_board=True)
        figure, about = self._figure(self.counting.count())
        if step == "running":
            return Step(message, "Stop", figure=figure, about=about, in_progress=True, needs_board=True)
        return Step(
            message,
            fields=self.amount,
            save=self.save_word,
            save_next=self.next_word,
            picture=self.pictures[1],
            figure=figure,
            about=about,
            in_progress=True,
        )

    def _figure(self, count: Count) -> tuple[str, str]:
        """What is counted, and what that is."""
        hertz = "" if count.frequency_hz is None else f", {count.frequency_hz:.1f} Hz"
        return str(count.pulses), f"pulses{hertz}"

    def press(self, second: bool = False) -> str:
        """Start or stop."""
        if self.counting.step == "ready":
            self.counting.start()
            return ""
        self.counting.stop()
        return ""

    def save(self, way: str, entries: Entries) -> str:
        """Take what was counted, or a point that was typed."""
        point = self._guided(entries) if way == "count" else self._typed(way, entries)
        self.taken.append(point)
        if way == "count":
            self._guided_points.append(point)
        return self._saved(point)

    @abstractmethod
    def _guided(self, entries: Entries) -> Point:
        """What was counted, with the amount that was typed."""

    @abstractmethod
    def _typed(self, way: str, entries: Entries) -> Point:
        """A point with its pulses or counts."""

    @abstractmethod
    def _saved(self, point: Point) -> str:
        """The message that confirms a point."""

    @property
    def can_undo(self) -> bool:
        """Whether anything was started or taken."""
        return bool(self.taken) or self.counting.step != "ready"

    def undo(self, number: int | None = None) -> str:
        """One step back, or drop one. What was counted stays when an amount is taken back: it is not caught again."""
        if number is None and self.counting.step != "ready":
            self.counting.undo()
            return "The one in progress is dropped."
        last = self.taken[-1] if self.taken and number is None else None
        if last is not None and any(last is one for one in self._guided_points):
            self.taken.pop()
            self.counting.reopen(Count(last.pulses, last.duration_s, last.mean_counts))
            return "What was counted is kept: enter it again, or undo once more to drop it."
        return drop(self.taken, number)

    def rows(self) -> list[dict[str, Any]]:
        """For the draft."""
        return [asdict(point) for point in self.taken]

    def restore(self, rows: list[dict[str, Any]]) -> None:
        """From a draft."""
        self.taken = [_point(row) for row in rows]

    def check(self) -> None:
        """Whether nothing is half taken."""
        if self.counting.step != "ready":
            raise NotNowError("one is in progress: stop and save it, or undo, before you finish.")


def _point(row: dict[str, Any]) -> Point:
    point: Point = point_from(Point, row, _TYPES)
    vessel = None if point.vessel is None else point_from(Vessel, point.vessel, _JUG)
    return replace(point, vessel=vessel)


def drop(points: list[Any], number: int | None) -> str:
    """Take the last point, or number `number` (from 1), out of the list; what was dropped. Raises UserError."""
    if not points:
        raise NotNowError("there is nothing to undo.")
    if number is not None and not 1 <= number <= len(points):
        raise BadInputError(f"there is no number {number}: give one from 1 to {len(points)}.")
    points.pop(-1 if number is None else number - 1)
    return f"{'The last one' if number is None else f'Number {number}'} is dropped; {len(points)} left."
