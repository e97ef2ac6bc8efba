"""Guided calibration in the terminal: what to do next, live counts, keys to begin, end, undo and finish.

What was taken is kept in a draft after every step, so that nothing that ends the command early loses it.
"""

from __future__ import annotations

import queue
import sys
from collections.abc import Callable, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Any, Protocol

from firmware_protocol.messages import LineError, Report, decode
from host.calibrate.drafts import Draft, DraftFile
from host.cli.console import Console, Terminal
from host.errors import UserError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from host.link import Link
    from host.rig import Rig

_TROUBLE = {
    "ok": "",
    "lost": "the port is gone: plug the cable in again and wait; the counts go on while the board keeps its power.",
    "silent": "nothing comes from the board: check its power and its cable, then wait.",
    "unreadable": "what comes from the board cannot be read: check its cable, then wait.",
    "wrong protocol": "the board speaks another version of the protocol: load the firmware that belongs to this one.",
}


class Talk(Protocol):
    """One guided calibration, as the loop needs it. All raise UserError for what cannot be done now."""

    @property
    def cautions(self) -> Sequence[str]:
        """What to mind, said first."""

    def say(self) -> str:
        """What to do next, in one line."""

    def keys(self) -> str:
        """What can be typed now."""

    def live(self) -> str:
        """What is counted or timed at this moment."""

    def watch(self, report: Report) -> None:
        """Take a report of the board."""

    def take(self, word: str) -> str:
        """Enter alone, or what was typed; what there is to say of it."""

    def undo(self, number: int | None) -> str:
        """One step back, or drop one of those taken."""

    def finish(self) -> None:
        """Whether what was taken makes a calibration."""

    def rows(self) -> list[dict[str, Any]]:
        """What was taken, for the draft."""

    def restore(self, draft: Draft) -> None:
        """Go on from a draft."""


class Board(Protocol):
    """Where reports come from, if from anywhere."""

    def reports(self) -> list[Report]:
        """Those that came since the last call."""

    def trouble(self) -> str:
        """Why none come; empty when they do."""


class NoBoard:
    """A stopwatch needs none."""

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
def board_at(port: str, rig: Rig) -> Iterator[LinkedBoard]:
    """The board at a port, which is closed afterwards. Raises UserError when it cannot be had."""
    from host.link import Link
    from host.rig import filter_arguments

    link = Link(port, filters=filter_arguments(rig))
    link.start()
    try:
        link.wait_for_board()
        yield LinkedBoard(link)
    finally:
        link.stop()


def guide_through(
    talk: Talk,
    board: Board,
    draft: DraftFile,
    terminal: Terminal | None = None,
    now: Callable[[], datetime] = datetime.now,
) -> None:
    """Take one after the other until the user finishes and what was taken makes a calibration.

    The draft then still lies there: it is dropped when the card is kept. Raises UserError, and KeyboardInterrupt, with
    a sentence that says where the draft is.
    """
    terminal = terminal or Console()
    for caution in talk.cautions:
        terminal.say(f"! {caution}")
    before = draft.load()
    try:
        if before is not None:
            _offer(talk, draft, before, terminal)
        while not _step(talk, board, draft, terminal, now):
            pass
    except KeyboardInterrupt:
        terminal.say("")
        raise KeyboardInterrupt(f"stopped from the keyboard: {_kept(draft)}") from None
    except UserError as error:
        raise UserError(f"{str(error).rstrip('.')}: {_kept(draft)}") from None


def _offer(talk: Talk, draft: DraftFile, before: Draft, terminal: Terminal) -> None:
    terminal.say(
        f"Of {before.changed:%Y-%m-%d at %H:%M} there is one unfinished, {len(before.rows)} taken: {draft.path}"
    )
    while True:
        word = terminal.ask("[Enter goes on from there, n begins anew]", lambda: "")
        if word == "n":
            return  # the file stays until the first one is taken
        if not word:
            talk.restore(before)
            return


def _step(talk: Talk, board: Board, draft: DraftFile, terminal: Terminal, now: Callable[[], datetime]) -> bool:
    """One line of the user; whether that was the end."""

    def meanwhile() -> str:
        trouble = board.trouble()
        for report in board.reports():
            try:
                talk.watch(report)
            except UserError as error:
                trouble = str(error)
                terminal.say(f"\n{trouble}")
        return trouble or talk.live()

    before = talk.rows()
    terminal.say(talk.say())
    word = terminal.ask(f"[{len(before)} taken; {talk.keys()}]", meanwhile)
    meanwhile()
    try:
        if word == "f":
            talk.finish()
            return True
        back = word == "u" or word.startswith("u ")
        said = talk.undo(_number(word[1:].strip())) if back else talk.take(word)
        if said:
            terminal.say(said)
        if talk.rows() != before:
            draft.save(talk.rows(), now())
    except UserError as error:
        terminal.say(sentence(str(error)))
    return False


def sentence(text: str) -> str:
    """With a capital and a full stop, as it stands between the others."""
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def terminal_for(as_json: bool) -> Console:
    """Words go to the error stream where the answer is JSON for a program."""
    return Console(sys.stderr if as_json else None)


def only_enter(word: str, keys: str) -> None:
    """Raises UserError when something else than Enter alone was typed."""
    if word:
        raise UserError(f'"{word[:20]}" means nothing here: {keys}.')


def _number(text: str) -> int | None:
    if not text:
        return None
    try:
        return int(text)
    except ValueError:
        raise UserError(f'"u {text[:20]}" names no catch: type u, or u with its number.') from None


def _kept(draft: DraftFile) -> str:
    kept = draft.load()
    if kept is None:
        return "nothing was taken yet, so nothing is kept."
    these = "the one taken is" if len(kept.rows) == 1 else f"the {len(kept.rows)} taken are"
    return f"{these} kept in {draft.path}; the same command goes on from there."
