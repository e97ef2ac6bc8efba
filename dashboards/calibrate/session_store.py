"""All calibrations under way on this server, one of each kind, whichever phone or desk looks at them.

They live here and not in a browser, so that a phone that slept, or a second one, resumes where the first one was; and
in a draft beside the cards (see host/calibrate/drafts.py), so that nothing is lost when the server is started again.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from dashboards.calibrate.board import BoardReports
from dashboards.calibrate.run_notes import RunNotes
from dashboards.context import PageContext, RigInUse
from host.calibrate.cards import Card
from host.calibrate.drafts import DraftFile
from host.calibrate.kinds.kind import Guided, Job, Session, Step, fields_of, save_outcome
from host.calibrate.tools import keep_tools
from host.documents.document import Document, Message, Messages, Section
from host.documents.words import sentence
from host.entries import Entries
from host.errors import BadInputError, NotFoundError, NotNowError, UserError
from host.journal import RunFile, read_run
from host.run_folder import SUFFIX, newest_run


@dataclass(frozen=True)
class View:
    """What the page shows of one kind. `version` changes with everything but live figures and `board`."""

    version: int
    step: Step
    cautions: tuple[str, ...] = ()
    board: str = ""
    notice: str = ""
    droppable: int = 0  # points that can be dropped one by one
    can_undo: bool = False
    document: Document | None = None
    can_save: bool = False
    saved: bool = False
    asked: bool = False  # the next tap on Save saves it in spite of its questions
    again: str = ""  # what was typed for the last point, where the next one may have the same


_STEPS = ("act", "second", "enter", "next", "again", "undo")
_MEASUREMENT = "Saved as a measurement, not in use. To use it all the same, choose it under Cards."


class SessionStore:
    """Takes what the buttons ask, and says what each calibration has come to. Safe for several threads."""

    def __init__(
        self,
        context: PageContext,
        now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
        notes: RunNotes | None = None,
    ) -> None:
        self.kinds = {kind.name: kind for kind in context.kinds}
        self._context = context
        self._now = now
        self._lock = threading.Lock()
        self._board = BoardReports(context.runs)
        self._notes = notes or RunNotes()
        self._rig_toml = ""
        self._cards: tuple[Card, ...] = ()
        self._sessions: dict[str, Session] = {}
        self._unread: set[str] = set()  # whose draft could not be read: nothing is written over it
        self._notices: dict[str, str] = {}
        self._saved: set[str] = set()
        self._asked: set[str] = set()  # whose questions were shown at the last tap on Save
        self._last: dict[str, dict[str, str | None]] = {}  # what was typed for the last point
        self._second: dict[str, bool] = {}  # whether that one was started with the second button
        self._results: dict[str, tuple[int, Document, bool]] = {}
        self._version = 0
        self._pressed_at = 0  # the version with what the last button did: cards alone make newer ones

    def press(self, kind: str, way: str, button: str, typed: Mapping[str, str | None], seen: Collection[int]) -> bool:
        """Do what a button asks: "act" (start or stop), "second", "enter", "next" (enter, then start the next point),
        "again" (enter the same as last time), "undo", "drop 2", "save", "over".

        Whether what was typed has been taken. What cannot be done is said in the next view. `seen` are the versions
        that the one who pressed knows of: when none of them is as new as what the last button did nothing is done, or
        the second half of a double tap would take the same catch twice. Raises WrongEntriesError for fields.
        """
        with self._lock:
            if not any(self._pressed_at <= one <= self._version for one in seen):
                return False
            self._version += 1
            self._pressed_at = self._version
            self._notices[kind] = ""
            try:
                self._notices[kind] = self._do(kind, way, button, typed)
            except UserError as error:
                self._notices[kind] = sentence(str(error))
                return False
            self._tell_the_run(kind, way, button)
            return button in ("enter", "next", "again")

    def _tell_the_run(self, kind: str, way: str, button: str) -> None:
        """That the board is being calibrated in it, or not any more."""
        run, guided = self._board.run, self.kinds[kind].guided
        if button == "over" or (button == "save" and kind in self._saved):
            self._notes.done(run, kind)
        elif button in _STEPS and way == guided.name and guided.board != "none" and run and not self._board.trouble():
            self._notes.step(run, kind)

    def close(self) -> None:
        """Let go of the board's run."""
        self._board.close()
        self._notes.close()

    @property
    def version(self) -> int:
        """The version of what is shown now."""
        return self._version

    def view(self, kind: str, way: str) -> View:
        """One kind in one way."""
        with self._lock:
            try:
                used = self._used()
                session = self._sessions[kind]
            except UserError as error:
                return View(self._version, Step(sentence(str(error))))
            except KeyError:
                return View(self._version, Step(sentence(self.kinds[kind].fits(used.rig))))
            trouble = self._look()
            step = self._step(kind, way, used)
            document, can_save = self._result(kind, session)
            source = f"Board of run {self._board.run.stem if self._board.run else ''}."
            return View(
                version=self._version,
                step=step,
                cautions=session.cautions,
                board=(trouble or source) if step.needs_board else "",
                notice=self._notices.get(kind, ""),
                droppable=session.droppable,
                can_undo=session.can_undo,
                document=document,
                can_save=can_save,
                saved=kind in self._saved,
                asked=kind in self._asked,
                again=self._again(kind, step) if step.in_progress else "",
            )

    def _step(self, kind: str, way: str, used: RigInUse) -> Step:
        """The session's own for the guided way; for another what to type there."""
        chosen = next(one for one in self.kinds[kind].ways if one.name == way)
        if isinstance(chosen, Guided):
            return self._sessions[kind].step()
        return Step(chosen.message, fields=fields_of(chosen.fields, used.rig.nozzles.count), save="Save")

    def _result(self, kind: str, session: Session) -> tuple[Document | None, bool]:
        """What has come of it; the points alone where nothing comes of them yet; and whether it can be saved."""
        if not session.rows():
            return None, False
        known = self._results.get(kind)
        if known is None or known[0] != self._version:
            try:
                known = (self._version, session.outcome().document, True)
            except UserError as error:
                message = Messages((Message(sentence(str(error)), "advice"),))
                section = Section("", "", (*session.so_far(), message))
                title = self.kinds[kind].title
                known = (self._version, Document(kind, title, "No result yet", (section,)), False)
            self._results[kind] = known
        return known[1:]

    def _do(self, kind: str, way: str, button: str, typed: Mapping[str, str | None]) -> str:
        used = self._used()
        trouble = self._look()
        if kind not in self._sessions:
            raise BadInputError(self.kinds[kind].fits(used.rig))
        session = self._sessions[kind]
        if kind in self._unread or not (session.rows() or session.can_undo):
            self._read_draft(kind, used)  # the command may have started one meanwhile
        before = session.rows()
        if button != "save":
            self._asked.discard(kind)
        if button == "over":
            self._sessions[kind] = self.kinds[kind].start(self._job(used))
            self._saved.discard(kind)
            self._draft(kind, used).drop()
            return "Started over."
        if button == "undo" or button.startswith("drop "):
            message = session.undo(None if button == "undo" else int(button.removeprefix("drop ")))
            self._last.pop(kind, None)  # it may have been the slip
        else:
            entries = Entries({**typed, **self._last.get(kind, {})} if button == "again" else typed)
            session.settle(entries)
            if button in ("enter", "next", "again"):
                message = self._enter(kind, way, entries, typed)
                if button == "next" and session.step().button == "Start":
                    session.press(second=self._second.get(kind, False))
            else:
                entries.check()
                if button == "save":
                    return self._save(kind, session, used, typed)
                if trouble and session.step().needs_board:
                    raise NotNowError(trouble)
                self._second[kind] = button == "second"
                message = session.press(second=button == "second")
        if session.rows() != before:
            self._saved.discard(kind)
            self._draft(kind, used).save(session.rows(), self._now())
        return message

    def _enter(self, kind: str, way: str, entries: Entries, typed: Mapping[str, str | None]) -> str:
        """Take what was typed, and remember it where the next point may have the same."""
        session = self._sessions[kind]
        fields = session.step().fields if way == self.kinds[kind].guided.name else ()
        message = session.save(way, entries)
        if fields and all(field.again for field in fields) and any(typed.get(field.name) for field in fields):
            self._last[kind] = {field.name: typed.get(field.name) for field in fields}
        return message

    def _again(self, kind: str, step: Step) -> str:
        """What was typed for the last point, where this step asks for the same."""
        last = self._last.get(kind, {})
        asked = [field.name for field in step.fields if field.again]
        return " ".join(str(last[name]) for name in asked) if asked and all(name in last for name in asked) else ""

    def _save(self, kind: str, session: Session, used: RigInUse, typed: Mapping[str, str | None]) -> str:
        if kind in self._saved:
            raise NotNowError("this card is saved already: add a point, or start over.")
        session.check()
        outcome = session.outcome()
        accepted = kind in self._asked
        if outcome.questions and not accepted:
            self._asked.add(kind)
            return f"{outcome.questions[0]} If it is right as it is, save it all the same."
        save_outcome(self.kinds[kind], used.rig.name, outcome, self._context.cards, self._now(), accepted=accepted)
        self._saved.add(kind)
        self._asked.discard(kind)
        self._draft(kind, used).drop()
        keep_tools(self._context.cards, used.rig.name, self.kinds[kind], typed)
        return _MEASUREMENT if outcome.not_standard and not accepted else "Saved. New runs will use it."

    def _used(self) -> RigInUse:
        """The sprayer in use; another one has calibrations of its own."""
        used = self._context.rig()
        if not used.own:
            raise NotFoundError("no sprayer is set up yet: set one up first.")
        if used.rig.toml != self._rig_toml:
            self._rig_toml = used.rig.toml
            for known in (self._sessions, self._notices, self._results, self._last, self._second):
                known.clear()
            self._saved.clear()
            self._asked.clear()
            for name, kind in self.kinds.items():
                if not kind.fits(used.rig):
                    self._start(name, used)
            self._version += 1
            self._pressed_at = self._version
        elif used.cards != self._cards:
            for session in self._sessions.values():
                session.use(self._job(used))
            self._version += 1
        self._cards = used.cards
        return used

    def _start(self, kind: str, used: RigInUse) -> None:
        """A session that resumes its draft, if there is one."""
        self._sessions[kind] = self.kinds[kind].start(self._job(used))
        self._unread.add(kind)
        try:
            self._read_draft(kind, used)
        except UserError as error:
            self._notices[kind] = sentence(str(error))

    def _job(self, used: RigInUse) -> Job:
        return Job(used.rig, used.cards, time.monotonic, self._open_run)

    def _read_draft(self, kind: str, used: RigInUse) -> None:
        draft = self._draft(kind, used).load()
        if draft is not None:
            self._sessions[kind].restore(draft.rows)
            at = f"{draft.changed.astimezone():%d %b, %H:%M}"
            points = f"{len(draft.rows)} point{'' if len(draft.rows) == 1 else 's'}"
            self._notices[kind] = f"Resumed from {at}: {points}, not yet on a card."
        self._unread.discard(kind)

    def _draft(self, kind: str, used: RigInUse) -> DraftFile:
        return DraftFile(self._context.cards, used.rig.name, kind)

    def _open_run(self, name: str) -> RunFile:
        """A run of the folder; the newest one when none is named."""
        if name:
            return read_run(self._context.run_cache.path_of(name.removesuffix(SUFFIX)))
        newest = newest_run(self._context.runs)
        assert newest is not None  # or there would be no rig
        return read_run(newest)

    def _look(self) -> str:
        """Hand the newest reports to the sessions; what is wrong with the board."""
        running = any(session.running for session in self._sessions.values())
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
