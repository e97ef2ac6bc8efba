"""All calibrations under way on this server, one of each kind, whichever phone or desk looks at them.

They live here and not in a browser, so that a phone that slept, or a second one, goes on where the first one was; and
in a draft beside the cards (see host/calibrate/drafts.py), so that nothing is lost when the server is started again.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime
from typing import get_args

from dashboards.calibrate.answers import Answer
from dashboards.calibrate.board import START, BoardReports
from dashboards.calibrate.boom import BoomSession
from dashboards.calibrate.counted import MeterSession, PressureSession, WheelSession
from dashboards.calibrate.pace import CourseSession
from dashboards.calibrate.sessions import Kind, Session, Stand, Typed
from dashboards.context import PageContext
from dashboards.ui.forms import sentence
from host.calibrate.cards import make_card, save_card
from host.calibrate.drafts import DraftFile
from host.calibrate.interval import Stretch, stretch_of_run
from host.errors import UserError
from host.journal import read_run
from host.rig import Rig
from host.run_folder import SUFFIX, newest_run


@dataclass(frozen=True)
class View:
    """What the page shows of one kind. `version` changes with everything but live counts and `board`."""

    version: int
    stand: Stand
    cautions: tuple[str, ...] = ()
    board: str = ""
    notice: str = ""
    count: int = 0  # points that can be dropped one by one
    can_undo: bool = False
    answer: Answer | None = None
    can_save: bool = False
    kept: bool = False


class Bench:
    """Takes what the buttons ask, and says how things stand. Safe for several threads."""

    def __init__(self, context: PageContext, now: Callable[[], datetime] = lambda: datetime.now().astimezone()) -> None:
        self._context = context
        self._now = now
        self._lock = threading.Lock()
        self._board = BoardReports(context.runs)
        self._toml = ""
        self._sessions: dict[Kind, Session] = {}
        self._unread: set[Kind] = set()  # whose draft could not be read: nothing is written over it
        self._notices: dict[Kind, str] = {}
        self._kept: set[Kind] = set()
        self._version = 0

    def press(self, kind: Kind, way: str, button: str, typed: Typed, seen: Collection[int]) -> bool:
        """Do what a button asks: "act" (begin or end), "enter", "undo", "drop 2", "save", "anew".

        Whether what was typed has been taken. What cannot be done is said in the next view. `seen` are the
        versions that the one who pressed knows of: when there is a newer one nothing is done, or the second half of a
        double tap would take the same catch twice. Raises WrongEntriesError for fields.
        """
        with self._lock:
            if self._version not in seen:
                return False
            self._version += 1
            self._notices[kind] = ""
            try:
                self._notices[kind] = self._do(kind, way, button, typed)
            except UserError as error:
                self._notices[kind] = sentence(str(error))
                return False
            return button == "enter"

    @property
    def version(self) -> int:
        """The version of what is shown now."""
        return self._version

    def view(self, kind: Kind, way: str) -> View:
        """How one kind stands in one way."""
        with self._lock:
            try:
                rig = self._rig()
                session = self._sessions[kind]
                session.check(rig)
            except UserError as error:
                return View(self._version, Stand(sentence(str(error))))
            trouble = self._look()
            stand = session.stand(way)
            answer, can_save = self._answer(session, rig)
            held = f"Board of run {self._board.run.stem if self._board.run else ''}."
            return View(
                version=self._version,
                stand=stand,
                cautions=session.cautions,
                board=(trouble or held) if stand.by_board else "",
                notice=self._notices.get(kind, ""),
                count=0 if kind == "boom" else len(session.rows()),
                can_undo=session.can_undo(),
                answer=answer,
                can_save=can_save,
                kept=kind in self._kept,
            )

    def _answer(self, session: Session, rig: Rig) -> tuple[Answer | None, bool]:
        """What has come of it; what was taken where nothing comes of it yet."""
        taken = session.taken(rig)
        if taken is None:
            return None, False
        try:
            return session.outcome(rig, self._board.adc_full_scale).answer, True
        except UserError as error:
            return Answer("No result yet", [], [taken], [sentence(str(error))]), False

    def _do(self, kind: Kind, way: str, button: str, typed: Typed) -> str:
        rig = self._rig()
        trouble = self._look()
        session = self._sessions[kind]
        session.check(rig)
        if kind in self._unread or not (session.rows() or session.can_undo()):
            self._read_draft(kind, rig)  # the command may have begun one meanwhile
        if button == "anew":
            self._sessions[kind] = self._new(kind, rig)
            self._kept.discard(kind)
            self._draft(kind, rig).drop()
            return "Begun anew."
        session.settle(typed)
        if button == "save":
            return self._save(kind, session, rig)
        before = session.rows()
        if button == "act":
            if trouble and session.stand(way).by_board:
                raise UserError(trouble)
            said = session.act(typed)
        elif button == "enter":
            said = session.enter(way, typed, rig)
        elif button == "undo":
            said = session.undo(None)
        elif button.startswith("drop "):
            said = session.undo(int(button.removeprefix("drop ")))
        else:
            raise UserError(f"there is no button {button[:20]!r}.")
        if session.rows() != before:
            self._kept.discard(kind)
            self._draft(kind, rig).save(session.rows(), self._now())
        return said

    def _save(self, kind: Kind, session: Session, rig: Rig) -> str:
        if kind in self._kept:
            raise UserError("this card is kept already: catch once more, or start anew.")
        session.whole()
        outcome = session.outcome(rig, self._board.adc_full_scale)
        card = make_card(kind, rig.name, self._now(), outcome.section, outcome.record)
        path = save_card(card, self._context.cards)
        self._kept.add(kind)
        self._draft(kind, rig).drop()
        if kind == "pressure" and not self._sessions["boom"].running():
            self._begin("boom", self._rig())  # it reads the board's pressure by the new card
        return f"Card kept: {path.name}. Recordings that begin from now on use it."

    def _rig(self) -> Rig:
        """The sprayer in use; another one has calibrations of its own."""
        used = self._context.rig()
        if not used.own:
            raise UserError(f"no run has been recorded yet, so it is not known which sprayer this is: {START}.")
        if used.rig.toml != self._toml:
            self._toml = used.rig.toml
            self._kept.clear()
            self._notices.clear()
            for kind in get_args(Kind):
                self._begin(kind, used.rig)
            self._version += 1
        return used.rig

    def _begin(self, kind: Kind, rig: Rig) -> None:
        """A session that goes on from its draft, if there is one."""
        self._sessions[kind] = self._new(kind, rig)
        self._unread.add(kind)
        try:
            self._read_draft(kind, rig)
        except UserError as error:
            self._notices[kind] = sentence(str(error))

    def _read_draft(self, kind: Kind, rig: Rig) -> None:
        draft = self._draft(kind, rig).load()
        if draft is not None:
            self._sessions[kind].restore(draft)
            at = f"{draft.changed.astimezone():%d %B, %H:%M}"
            self._notices[kind] = f"Goes on from {at}: {len(draft.rows)} taken, and not yet on a card."
        self._unread.discard(kind)

    def _new(self, kind: Kind, rig: Rig) -> Session:
        if kind == "meter":
            return MeterSession(self._stretch)
        if kind == "pressure":
            return PressureSession()
        if kind == "wheel":
            return WheelSession(self._stretch)
        return CourseSession(time.monotonic) if kind == "course" else BoomSession(rig, time.monotonic)

    def _draft(self, kind: Kind, rig: Rig) -> DraftFile:
        return DraftFile(self._context.cards, rig.name, kind)

    def _stretch(self, run: str, start: str, end: str) -> Stretch:
        """Counts of a run in the folder; the newest one when none is named."""
        if run:
            path = self._context.run_cache.path_of(run.removesuffix(SUFFIX))
        else:
            newest = newest_run(self._context.runs)
            assert newest is not None  # or there would be no rig
            path = newest
        return stretch_of_run(read_run(path), start, end)

    def _look(self) -> str:
        """Hand the newest reports to the sessions; what is wrong with the board."""
        running = any(session.running() for session in self._sessions.values())
        try:
            reports = self._board.fresh(everything=running)
        except UserError as error:
            return sentence(str(error))
        for report in reports:
            for kind, session in self._sessions.items():
                try:
                    session.watch(report, self._board.adc_full_scale)
                except UserError as error:
                    self._notices[kind] = sentence(str(error))
                    self._version += 1
        return self._board.trouble()
