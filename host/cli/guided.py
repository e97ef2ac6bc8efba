"""A guided calibration in the terminal: what to do next, live counts, keys to start, stop, undo and finish.

The points are saved in a draft after every step, so that nothing that ends the command early loses them.
"""

from __future__ import annotations

import queue
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Protocol

from firmware_protocol.messages import LineError, Report, decode
from host.calibrate.drafts import Draft, DraftFile
from host.calibrate.kinds.kind import Outcome, Session, Step
from host.cli.console import Terminal
from host.documents.words import sentence
from host.entries import Entries, WrongEntriesError
from host.errors import BadInputError, NotNowError, UserError

if TYPE_CHECKING:
    from host.link import Link

_TROUBLE = {
    "ok": "",
    "lost": "the port is gone: plug the cable in again and wait; the counts go on while the board keeps its power.",
    "silent": "nothing comes from the board: check its power and its cable, then switch its power off and on.",
    "unreadable": "the board's data is unreadable: check its cable, then wait.",
    "wrong protocol": "the board speaks another version of the protocol: load the firmware that belongs to this one.",
}


class Board(Protocol):
    """Where reports come from, if from anywhere."""

    @property
    def adc_full_scale(self) -> float:
        """Counts at full supply."""

    def reports(self) -> list[Report]:
        """Those that came since the last call."""

    def trouble(self) -> str:
        """Why none come; empty when they do."""


class NoBoard:
    """A stopwatch needs none."""

    adc_full_scale = 1023.0

    def reports(self) -> list[Report]:
        """None."""
        return []

    def trouble(self) -> str:
        """None."""
        return ""


class LinkedBoard:
    """The board at a serial port."""

    def __init__(self, link: Link) -> None:
        self._link = link

    @property
    def adc_full_scale(self) -> float:
        """Counts at full supply."""
        return float(self._link.identity.adc_full_scale if self._link.identity else 1023)

    def reports(self) -> list[Report]:
        """Those that came since the last call; damaged lines are passed over."""
        from host.link import LineRead

        found: list[Report] = []
        while True:
            try:
                item = self._link.items.get_nowait()
            except queue.Empty:
                return found
            if isinstance(item, LineRead):
                try:
                    message = decode(item.raw)
                except LineError:
                    continue
                if isinstance(message, Report):
                    found.append(message)

    def trouble(self) -> str:
        """How the line is, in words."""
        return _TROUBLE[self._link.state]


@contextmanager
def board_at(port: str) -> Iterator[LinkedBoard]:
    """The board at a port, which is closed afterwards. Raises UserError when it cannot be had."""
    from host.link import Link

    link = Link(port)
    link.start()
    try:
        link.wait_for_board()
        yield LinkedBoard(link)
    finally:
        link.stop()


class GuidedCalibration:
    """Takes one point after the other until the user finishes and they make a calibration.

    `way` is the guided one of the session. The draft then is still there: it is dropped when the card is saved.
    """

    def __init__(
        self,
        session: Session,
        way: str,
        draft: DraftFile,
        terminal: Terminal,
        board: Board | None = None,
        now: Callable[[], datetime] = datetime.now,
    ) -> None:
        self._session, self._way, self._draft, self._terminal = session, way, draft, terminal
        self._board = board or NoBoard()
        self._now = now

    def run(self, accept: bool = False) -> bool:
        """Go through it to its end; whether what came of it was accepted, which what is in doubt has to be.

        Raises UserError, and KeyboardInterrupt, with a message that says where the draft is.
        """
        for caution in self._session.cautions:
            self._terminal.say(f"! {caution}")
        before = self._draft.load()
        try:
            if before is not None:
                self._offer(before)
            while True:
                outcome = self._line()
                if outcome is not None and (accept or not outcome.questions):
                    return accept
                if outcome is not None and self._accepted(outcome):
                    return True
        except KeyboardInterrupt:
            self._terminal.say("")
            raise KeyboardInterrupt(f"stopped from the keyboard: {self._kept()}") from None
        except UserError as error:
            raise type(error)(f"{str(error).rstrip('.')}: {self._kept()}") from None

    def _offer(self, before: Draft) -> None:
        points = f"{len(before.rows)} point{'s'[: len(before.rows) > 1]}"
        self._terminal.say(f"Unfinished from {before.changed:%Y-%m-%d %H:%M}: {points}, in {self._draft.path}")
        while True:
            word = self._terminal.ask("[Enter resumes it, n starts over]", lambda: "")
            if word == "n":
                return  # the file stays until the first point is taken
            if not word:
                self._session.restore(before.rows)
                return

    def _accepted(self, outcome: Outcome) -> bool:
        for text in outcome.questions:
            self._terminal.say(f"! {text}")
        return self._terminal.ask("[y saves it all the same, Enter goes back]", lambda: "").lower() == "y"

    def _line(self) -> Outcome | None:
        """One line of the user; what came of it all when that was the end."""
        session, terminal = self._session, self._terminal
        before, step = session.rows(), session.step()
        terminal.say(step.message)
        word = terminal.ask(f"[{len(before)} saved; {self._keys()}]", self._meanwhile)
        self._meanwhile()
        if not word and step.timed is not None and session.step().timed is None:
            return None  # the countdown has ended meanwhile: what was Enter for?
        try:
            if word == "f":
                session.check()
                return session.outcome()
            undone = word == "u" or word.startswith("u ")
            message = session.undo(_number(word[1:].strip())) if undone else self._take(word)
            changed = session.rows() != before
            if message := f"{message} {self._so_far() if changed else ''}".strip():
                terminal.say(message)
            if changed:
                self._draft.save(session.rows(), self._now())
        except UserError as error:
            terminal.say(sentence(str(error)))
        except WrongEntriesError as error:
            terminal.say(" ".join(error.sentences.values()))
        return None

    def _take(self, word: str) -> str:
        """Enter alone, or what was typed; what there is to say of it."""
        step = self._session.step()
        if word == "t" and step.second:
            return self._session.press(second=True)
        if step.fields and (word or not step.button):
            return self._session.save(self._way, Entries({step.fields[0].name: word}))
        if word:
            raise BadInputError(f'"{word[:20]}" means nothing here: {self._keys()}.')
        # What is counted now must be all that came: a line that is gone would cut pulses off.
        if step.needs_board and (trouble := self._board.trouble()):
            raise NotNowError(trouble)
        return self._session.press()

    def _so_far(self) -> str:
        try:
            return f"So far: {self._session.outcome().document.answer}."
        except NotNowError:
            return ""  # nothing is there yet
        except UserError as error:
            return sentence(str(error))

    def _meanwhile(self) -> str:
        """Hand the newest reports on; what is shown while waiting."""
        trouble = self._board.trouble()
        for report in self._board.reports():
            try:
                self._session.watch(report, self._board.adc_full_scale)
            except UserError as error:
                trouble = str(error)
                self._terminal.say(f"\n{trouble}")
        step = self._session.step()
        return trouble or f"{step.figure} {step.about}".strip()

    def _keys(self) -> str:
        """What can be typed now."""
        step, points = self._session.step(), len(self._session.rows())
        keys = [f"Enter {step.button.lower()}s"] if step.button else []
        keys += [f"t: {step.second[:1].lower()}{step.second[1:]}"] if step.second else []
        what = ", ".join([*keys, *([_typed(step)] if step.fields else [])])
        number = ", u 2 drops number 2" if self._session.droppable > 1 and step.button == "Start" else ""
        return f"{what}; u undoes{number}" + (", f finishes" if points else "")

    def _kept(self) -> str:
        draft = self._draft.load()
        if draft is None:
            return "nothing was saved yet."
        points = "the one point is" if len(draft.rows) == 1 else f"the {len(draft.rows)} points are"
        return f"{points} saved in {self._draft.path}; the same command resumes from there."


def _typed(step: Step) -> str:
    field = step.fields[0]
    return f"{field.label[:1].lower()}{field.label[1:]}, such as {field.us} or {field.metric or field.us}"


def _number(text: str) -> int | None:
    if not text:
        return None
    try:
        return int(text)
    except ValueError:
        raise BadInputError(f'"u {text[:20]}" names no point: type u, or u with its number.') from None
