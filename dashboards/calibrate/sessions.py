"""One calibration as far as it has come: entries in, answer and card out. What all kinds have in common."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from dashboards.calibrate.answers import Answer, Rows
from dashboards.ui.forms import Entries, above_zero
from firmware_protocol.messages import Report
from host.calibrate.drafts import Draft
from host.rig import Rig

Kind = Literal["meter", "pressure", "wheel", "course", "boom"]
Typed = Mapping[str, str | None]
# Ways to come to a point; each kind has some of them.
COUNT, TYPED, TANK, RUN, WATCH = "count", "typed", "tank", "run", "watch"


@dataclass(frozen=True)
class Outcome:
    """The answer for the page; section and record for the card."""

    answer: Answer
    section: Mapping[str, Any]
    record: Mapping[str, Any]


@dataclass(frozen=True)
class Stand:
    """How things stand in one way: what to do next, and what the page offers for it.

    `act` is the word on the large button ("Begin", "End"; empty: there is none), `group` the fields that can be filled
    in now, `enter` the word on the button below them. `counted` is the large figure while something runs, `about` what
    it is. `by_board`: nothing can be done without reports of the board.
    """

    say: str
    act: str = ""
    group: str = ""
    enter: str = ""
    counted: str = ""
    about: str = ""
    by_board: bool = False


class Session(Protocol):
    """One kind. All raise UserError for what cannot be done now; those that read fields WrongEntriesError."""

    @property
    def ways(self) -> Mapping[str, str]:
        """Ways to come to a point, and what they are called."""

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to be careful of."""

    def check(self, rig: Rig) -> None:
        """Whether this rig can be calibrated so."""

    def watch(self, report: Report, adc_full_scale: float) -> None:
        """Take a report of the board."""

    def running(self) -> bool:
        """Whether something is counted or timed, so that every report is wanted."""

    def stand(self, way: str) -> Stand:
        """How things stand in that way."""

    def settle(self, typed: Typed) -> None:
        """Take over the fields that hold for the whole calibration."""

    def act(self, typed: Typed) -> str:
        """Begin or end; what there is to say of it."""

    def enter(self, way: str, typed: Typed, rig: Rig) -> str:
        """Take what was typed; the sentence that confirms it."""

    def can_undo(self) -> bool:
        """Whether there is a step to go back."""

    def undo(self, number: int | None) -> str:
        """One step back, or drop one of those taken; what was dropped."""

    def taken(self, rig: Rig) -> Rows | None:
        """What was taken, as it was taken; None when nothing was."""

    def rows(self) -> list[dict[str, Any]]:
        """What was taken, for the draft."""

    def restore(self, draft: Draft) -> None:
        """Go on from a draft."""

    def whole(self) -> None:
        """Whether it can be kept as it stands."""

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""


def one_course(entries: Entries, before_m: float | None) -> float | None:
    """The field "distance": the length (m) of the course, the same for all passes and so only needed for the first."""
    if before_m is not None and not entries.given("distance"):
        return before_m
    distance = entries.need("distance", above_zero("length", "The course"), "Enter the length of the course.")
    if distance is not None and before_m is not None and abs(distance / before_m - 1.0) > 1e-9:
        entries.sentences["distance"] = (
            "All passes of one calibration go over one course: give the length as before, or undo the passes."
        )
        return None
    return distance
