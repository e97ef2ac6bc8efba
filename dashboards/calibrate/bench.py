"""All calibrations under way on this server, one of each kind, whichever phone or desk looks at them.

They live here and not in a browser, so that a phone that slept, or a second one, goes on where the first one was.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from dashboards.calibrate.answers import Answer
from dashboards.calibrate.board import START, BoardReports
from dashboards.calibrate.sessions import Kind, Session, Typed, new_sessions
from dashboards.forms import sentence
from dashboards.surroundings import Surroundings
from host.calibrate.cards import make_card, save_card
from host.errors import UserError
from host.rig import Rig


@dataclass(frozen=True)
class View:
    """What the page shows of one kind. `version` changes with everything but the live counts and `board`."""

    version: int
    say: str
    step: str  # of the guide; "entry" where the board counts nothing
    counted: str
    counted_about: str
    board: str
    notice: str
    count: int
    answer: Answer | None
    kept: bool


class Bench:
    """Takes what the buttons ask, and says how things stand. Safe for several threads."""

    def __init__(
        self, surroundings: Surroundings, now: Callable[[], datetime] = lambda: datetime.now().astimezone()
    ) -> None:
        self._surroundings = surroundings
        self._now = now
        self._lock = threading.Lock()
        self._board = BoardReports(surroundings.runs)
        self._sessions = new_sessions()
        self._notices: dict[Kind, str] = {}
        self._kept: set[Kind] = set()
        self._version = 0

    def press(self, kind: Kind, button: str, typed: Typed) -> None:
        """Do what a button asks: "act" (begin or end), "enter", "undo", "save", "anew".

        What cannot be done is said in the next view. Raises WrongEntriesError for fields.
        """
        with self._lock:
            self._version += 1
            self._notices[kind] = ""
            try:
                self._notices[kind] = self._do(kind, button, typed)
            except UserError as error:
                self._notices[kind] = sentence(str(error))

    def view(self, kind: Kind) -> View:
        """How one kind stands."""
        with self._lock:
            trouble = self._look()
            session = self._sessions[kind]
            answer, wrong = None, ""
            try:
                rig = self._rig()
                session.check(rig)
                if session.count():
                    answer = session.outcome(rig, self._board.adc_full_scale).answer
            except UserError as error:
                wrong = sentence(str(error))
            counted, about = _counted(session)
            guide = session.guide
            return View(
                version=self._version,
                say=session.say(),
                step=guide.step if guide else "entry",
                counted=counted,
                counted_about=about,
                board=""
                if guide is None
                else trouble or f"Board of run {self._board.run.stem if self._board.run else ''}",
                notice=" ".join(one for one in (self._notices.get(kind, ""), wrong) if one),
                count=session.count(),
                answer=answer,
                kept=kind in self._kept,
            )

    def _do(self, kind: Kind, button: str, typed: Typed) -> str:
        trouble = self._look()
        session, rig = self._sessions[kind], self._rig()
        session.check(rig)
        guide = session.guide
        if button == "act" and guide is not None:
            if trouble:
                raise UserError(trouble)
            if guide.step == "ready":
                guide.begin()
                return "Counting."
            guide.end()
            return ""
        if button == "enter":
            said = session.enter(typed, rig)
            self._kept.discard(kind)
            return said
        if button == "undo":
            return session.undo()
        if button == "anew":
            self._sessions[kind] = new_sessions()[kind]
            self._kept.discard(kind)
            return "Begun anew."
        if button == "save":
            return self._save(kind, session, rig)
        raise UserError(f"there is no button {button[:20]!r}.")

    def _save(self, kind: Kind, session: Session, rig: Rig) -> str:
        if kind in self._kept:
            raise UserError("this card is kept already: catch once more, or start anew.")
        outcome = session.outcome(rig, self._board.adc_full_scale)
        card = make_card(kind, rig.name, self._now(), outcome.section, outcome.record)
        path = save_card(card, self._surroundings.cards)
        self._kept.add(kind)
        return f"Card kept: {path.name}. Recordings that begin from now on use it."

    def _rig(self) -> Rig:
        used = self._surroundings.rig()
        if not used.own:
            raise UserError(f"no run has been recorded yet, so it is not known which sprayer this is: {START}.")
        return used.rig

    def _look(self) -> str:
        """Hand the newest reports to the guides; what is wrong with the board."""
        guides = {kind: one.guide for kind, one in self._sessions.items() if one.guide is not None}
        running = any(guide.step == "running" for guide in guides.values())
        try:
            reports = self._board.fresh(everything=running)
        except UserError as error:
            return sentence(str(error))
        for report in reports:
            for kind, guide in guides.items():
                try:
                    guide.watch(report)
                except UserError as error:
                    self._notices[kind] = sentence(str(error))
                    self._version += 1
        return self._board.trouble()


def _counted(session: Session) -> tuple[str, str]:
    """The live count and its unit with what else is known."""
    guide = session.guide
    if guide is None or guide.step == "ready":
        return "", ""
    live = guide.live()
    if guide.what == "pressure":
        return ("–" if live.mean_counts is None else f"{live.mean_counts:.1f}"), "counts, mean since it began"
    return str(live.pulses), "pulses" + ("" if live.frequency_hz is None else f", {live.frequency_hz:.1f} Hz")
