"""What a kind of calibration is. Terminal and page drive all of them through this and know none by name."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from firmware_protocol.messages import Report
from host.calibrate.cards import Card, active_card, make_card, save_card
from host.documents.document import Block, Document, Level, Message, Messages, Section, Table
from host.entries import Entries
from host.errors import BadInputError, NotNowError
from host.journal import RunFile
from host.rig import Rig

CAUTIONS = (
    "Use clean water only, and wear gloves: residues stay in tank, hoses and strainers.",
    "Stop the pump and let the pressure off before you open a nozzle, hose or strainer.",
    "Keep battery and plugs dry; do not stand in the spray.",
)

# Drawings of how to do a step, and what they show.
PICTURES = {
    "jug-hold": "A jug held upright close under a nozzle, so that nothing falls beside it",
    "jug-read": "A jug on level ground, read at eye level at the bottom of the water's curve",
}


@dataclass(frozen=True)
class Field:
    """Something to type. `us` and `metric` show how, in the units of the rig.

    `quantity` is what it is of, for the units that are offered beside it ("amount" is a volume or a weight, "count" a
    plain number). `keeps`: the next point most likely has the same, so it stays as it was typed; `again`: it often has
    the same, which is offered. `each_nozzle`: one such field for every nozzle of the boom. `runs`: it names a run.
    `tool`: how good a tool is, which counts as a usual one where it is blank. `of_tool`: it says that, or which tool it
    is, or how it is read, and is offered again the next time.
    """

    name: str
    label: str
    us: str = ""
    metric: str = ""
    quantity: str = ""
    required: bool = True
    keeps: bool = False
    again: bool = False
    each_nozzle: bool = False
    runs: bool = False
    tool: bool = False
    of_tool: bool = False

    def example(self, system: str) -> str:
        """How it is typed in "us" or "metric" units."""
        return self.us if system == "us" else self.metric or self.us


@dataclass(frozen=True)
class Way:
    """A way to come to a point: guided here, or its `fields` typed in.

    A typed way has an `option` of the command, whose values are its fields in their order; with `each` every value is a
    point of its own. `title` is empty for a way that the page does not offer, `message` says what to type there.
    """

    name: str
    title: str
    fields: tuple[Field, ...] = ()
    message: str = ""
    option: str = ""
    each: bool = False


@dataclass(frozen=True)
class Guided(Way):
    """The way that is timed or counted here. `board`: it cannot be done without one, can use one, or has no use for it.

    Its `fields` are those that any of its steps asks for.
    """

    board: str = "needed"


@dataclass(frozen=True)
class Step:
    """What to do next in one way.

    `button` is the word on the large button ("Start", "Stop"; empty: there is none), `second` on one beside it.
    `fields` can be filled in now, `save` is the word on the button below them, `save_next` on one that starts the next
    point as well. `picture` names a drawing of PICTURES. `figure` is the large number meanwhile, `about` what it is.
    `timed` is what a countdown sounds at: a number of its own, seconds to its start, seconds to its end.
    `in_progress`: a point is half taken. With `needs_board` nothing can be done without reports of the board.
    """

    message: str
    button: str = ""
    second: str = ""
    fields: tuple[Field, ...] = ()
    save: str = ""
    save_next: str = ""
    picture: str = ""
    figure: str = ""
    about: str = ""
    timed: tuple[float, float, float] | None = None
    in_progress: bool = False
    needs_board: bool = False


@dataclass(frozen=True)
class Job:
    """What a calibration works with: the rig with its active calibrations, all its cards, a clock that never jumps (s).

    `open_run` gives a recorded run by what a person calls it.
    """

    rig: Rig
    cards: tuple[Card, ...]
    clock: Callable[[], float]
    open_run: Callable[[str], RunFile]

    def source(self, kind: str) -> str:
        """Where the numbers of a part come from: "the rig file", or its active card."""
        card = active_card(self.cards, kind)
        return "the rig file" if card is None else f"the card of {card.made:%Y-%m-%d}"

    def has_card(self, kind: str) -> bool:
        """Whether a part's numbers come from a card."""
        return active_card(self.cards, kind) is not None


@dataclass(frozen=True)
class Outcome:
    """What came of it: the result for people and machines; the rig's section (empty: none) and the measurements.

    `questions` are asked before the card is saved. `not_standard` says why it is saved as a measurement only, unless
    it is accepted; empty for what may be used at once.
    """

    document: Document
    section: Mapping[str, Any]
    measurements: Mapping[str, Any]
    questions: tuple[str, ...] = ()
    not_standard: str = ""

    @property
    def in_doubt(self) -> bool:
        """Whether there is something to accept, which the document says."""
        return bool(self.questions or self.not_standard)


def outcome_of(
    document: Document,
    section: Mapping[str, Any],
    measurements: Mapping[str, Any],
    questions: Iterable[str] = (),
    not_standard: str = "",
) -> Outcome:
    """An outcome whose document begins with its questions."""
    asked = tuple(questions)
    words = (*asked, *((not_standard,) if not_standard else ()))
    first = Section("", "", (Messages(tuple(Message(text, "stop") for text in words), "questions"),))
    level: Level = "stop" if words else document.level
    told = replace(document, sections=(first, *document.sections), level=level)
    return Outcome(told, section, measurements, asked, not_standard)


class Session(ABC):
    """One calibration under way: points in, a result out.

    Raises UserError for what cannot be done now, WrongEntriesError for fields that cannot be read.
    """

    cautions: tuple[str, ...] = CAUTIONS

    def __init__(self, job: Job) -> None:
        self.job = job

    def use(self, job: Job) -> None:
        """Go on with the rig and the cards as they are now."""
        self.job = job

    def settle(self, entries: Entries) -> None:  # noqa: B027 (some kinds have no settings)
        """Take the settings, which hold for all points; what is wrong with them is then in `entries`."""

    def watch(self, report: Report, adc_full_scale: float) -> None:  # noqa: B027
        """Take a report of the board, as each one comes. UserError when it ends what was running."""

    @property
    def running(self) -> bool:
        """Whether something is counted or timed."""
        return False

    @abstractmethod
    def step(self) -> Step:
        """What to do next in the guided way."""

    @abstractmethod
    def press(self, second: bool = False) -> str:
        """The button, or the second one: start or stop. What there is to say of it."""

    @abstractmethod
    def save(self, way: str, entries: Entries) -> str:
        """Take what was typed in a way; the message that confirms it."""

    @abstractmethod
    def undo(self, number: int | None = None) -> str:
        """One step back, or drop point `number` (from 1). Says what was dropped."""

    @property
    @abstractmethod
    def can_undo(self) -> bool:
        """Whether there is a step to go back."""

    @property
    def droppable(self) -> int:
        """How many points can be dropped one by one."""
        return len(self.rows())

    @abstractmethod
    def rows(self) -> list[dict[str, Any]]:
        """The points, for the draft."""

    @abstractmethod
    def restore(self, rows: list[dict[str, Any]]) -> None:
        """Resume from a draft's rows."""

    @abstractmethod
    def points(self) -> Table:
        """The points as they were taken, before anything is made of them."""

    def so_far(self) -> tuple[Block, ...]:
        """What is shown of the points before anything comes of them."""
        return (self.points(),)

    @abstractmethod
    def check(self) -> None:
        """Whether it can be finished as it is."""

    @abstractmethod
    def outcome(self) -> Outcome:
        """What has come of the points so far."""


@dataclass(frozen=True)
class Kind:
    """A kind of calibration. `name` stands on cards and after `swardflow calibrate`, `title` on the page.

    `summary` says in a few words what it does. `settings` hold for all points of one calibration. `fits` gives why a
    rig cannot be calibrated so, empty when it can. `plus_minus` says how well the part is known (95 %), from the active
    card or, without one, from the rig; empty where nothing is known. `resumes` gives the settings (SI) that a draft's
    rows were taken with.
    """

    name: str
    title: str
    summary: str
    ways: tuple[Way, ...]
    session: Callable[[Job], Session]
    plus_minus: Callable[[Rig, Card | None], str]
    fits: Callable[[Rig], str] = field(default=lambda rig: "")
    settings: tuple[Field, ...] = ()
    resumes: Callable[[list[dict[str, Any]]], dict[str, float]] = field(default=lambda rows: {})

    @property
    def guided(self) -> Guided:
        """The way that is timed or counted here."""
        return next(way for way in self.ways if isinstance(way, Guided))

    def start(self, job: Job) -> Session:
        """A calibration of this kind. Raises UserError when the rig has no such part."""
        if reason := self.fits(job.rig):
            raise BadInputError(reason)
        return self.session(job)


def fields_of(fields: tuple[Field, ...], nozzles: int) -> tuple[Field, ...]:
    """`fields` with one for every nozzle in place of those that are for each."""
    return tuple(
        replace(one, name=f"{one.name}_{number}", label=f"{one.label} {number}", each_nozzle=False)
        if one.each_nozzle
        else one
        for one in fields
        for number in range(1, (nozzles if one.each_nozzle else 1) + 1)
    )


def save_outcome(
    kind: Kind, rig_name: str, outcome: Outcome, folder: Path, made: datetime, *, accepted: bool = False
) -> Path:
    """Save the card of a calibration; its path. Without `accepted` one that is not to be a standard is not used.

    Raises UserError when it cannot be written, or has questions that are not answered.
    """
    if outcome.questions and not accepted:
        raise NotNowError(outcome.questions[0])
    measurements = {"result": outcome.document.answer, **outcome.measurements}
    card = make_card(kind.name, rig_name, made, outcome.section, measurements)
    return save_card(card, folder, used=accepted or not outcome.not_standard)
