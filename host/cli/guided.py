"""Guided calibration in the terminal: the guide's words, live counts, and keys to begin, end, undo and finish."""

from __future__ import annotations

import queue
from collections.abc import Callable, Iterable
from typing import Literal, Protocol

from firmware_protocol.messages import LineError, Report, decode
from host.calibrate.guide import CAUTIONS, Guide, Taken
from host.errors import UserError
from host.link import LineRead, Link


class Terminal(Protocol):
    """Where the words go and the keys come from."""

    def say(self, text: str) -> None:
        """Print a line."""

    def ask(self, prompt: str, meanwhile: Callable[[], str]) -> str:
        """A line that the user types; `meanwhile` is called a few times a second and gives a line of live counts."""


def guide_through(
    guide: Guide, reports: Callable[[], Iterable[Report]], terminal: Terminal, read: Callable[[str], float]
) -> None:
    """Take catches until the user finishes. `reports` gives what came since the last call; `read` an amount in SI.

    What was taken is in `guide.taken`.
    """
    for caution in CAUTIONS:
        terminal.say(f"! {caution}")

    def meanwhile() -> str:
        trouble = ""
        for report in reports():
            try:
                guide.watch(report)
            except UserError as error:
                trouble = str(error)
        return trouble or _live_text(guide)

    while True:
        terminal.say(guide.say())
        keys = {
            "ready": "Enter begins, u undoes, f finishes",
            "running": "Enter ends, u undoes",
            "amount": "amount, or u",
        }
        word = terminal.ask(f"[{len(guide.taken)} taken; {keys[guide.step]}] ", meanwhile).strip()
        meanwhile()
        try:
            if word == "u":
                terminal.say(guide.undo())
            elif word == "f" and guide.step == "ready":
                return
            elif guide.step == "ready":
                guide.begin()
            elif guide.step == "running":
                guide.end()
            else:
                terminal.say(_taken_text(guide.enter(read(word))))
        except UserError as error:
            terminal.say(str(error))


def guided(
    port: str, what: Literal["flow", "wheel", "pressure"], read: Callable[[str], float]
) -> tuple[list[Taken], float]:
    """Guide the user through a calibration with the board at `port`: what was taken, and the board's full scale.

    Raises UserError when the port or the board cannot be had.
    """
    link = Link(port)
    link.start()
    try:
        link.wait_for_board()
        guide = Guide(what)
        guide_through(guide, reports_of(link), Console(), read)
        return guide.taken, float(link.identity.adc_full_scale if link.identity else 1023)
    finally:
        link.stop()


def reports_of(link: Link) -> Callable[[], list[Report]]:
    """A function that gives the reports that came since it was last called; damaged lines are passed over."""

    def fresh() -> list[Report]:
        found: list[Report] = []
        while True:
            try:
                item = link.items.get_nowait()
            except queue.Empty:
                return found
            if isinstance(item, LineRead):
                try:
                    message = decode(item.raw)
                except LineError:
                    continue
                if isinstance(message, Report):
                    found.append(message)

    return fresh


def _taken_text(taken: Taken) -> str:
    """What was taken, in full: should the calibration fail, it can be typed in again."""
    time = "" if taken.duration_s is None else f' in "{taken.duration_s:.2f} s"'
    counts = "" if taken.mean_counts is None else f", {taken.mean_counts:.2f} counts"
    return f"Taken: {taken.pulses} pulses{time}{counts}."


def _live_text(guide: Guide) -> str:
    live = guide.live()
    if guide.step != "running":
        return ""
    if guide.what == "pressure":
        return "" if live.mean_counts is None else f"{live.mean_counts:.1f} counts"
    return f"{live.pulses} pulses" + ("" if live.frequency_hz is None else f", {live.frequency_hz:.1f} Hz")


class Console:
    """The terminal that the command runs in."""

    def say(self, text: str) -> None:
        """Print a line."""
        print(text, flush=True)

    def ask(self, prompt: str, meanwhile: Callable[[], str]) -> str:
        """Wait for a line, showing live counts where the input is a terminal."""
        import select
        import sys

        print(prompt, end="", flush=True)
        shown = ""
        while not select.select([sys.stdin], [], [], 0.25)[0]:
            live = meanwhile()
            if live != shown and sys.stdin.isatty():
                print(f"\r\x1b[K{prompt}{live} ", end="", flush=True)
                shown = live
        line = sys.stdin.readline()
        if not line:
            raise UserError("the input ended before the calibration was finished: nothing was kept.")
        return line
