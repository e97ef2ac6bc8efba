"""The guided calibrations in the words and keys of a terminal."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any, Literal

from firmware_protocol.messages import Report
from host.calibrate import course_guide, guide
from host.calibrate.amounts import Amount, AmountReader
from host.calibrate.boom_guide import BoomGuide
from host.calibrate.course_guide import CourseGuide
from host.calibrate.drafts import (
    Draft,
    DraftFile,
    boom_of,
    boom_rows,
    course_of,
    course_rows,
    taken_of,
    taken_rows,
)
from host.calibrate.guide import Guide, Taken
from host.cli.guided_loop import Board, board_at, guide_through, only_enter, terminal_for
from host.errors import UserError
from host.rig import Rig
from host.units import format_value, parse_quantity

_UNDO = "u undoes"


def _ready(taken: int) -> str:
    one = ", u 2 drops number 2" if taken > 1 else ""
    return f"Enter begins, {_UNDO}{one}" + (", f finishes" if taken else "")


class CountsTalk:
    """Flow meter, wheel or transducer: the board counts, `read` gives what was typed as an amount.

    `so_far` judges what was taken: a sentence, or UserError when it makes no calibration.
    """

    cautions = guide.CAUTIONS

    def __init__(
        self,
        the_guide: Guide,
        board: Board,
        read: Callable[[str], Amount | float],
        so_far: Callable[[list[Taken]], str],
    ) -> None:
        self.guide = the_guide
        self._board = board
        self._read = read
        self._so_far = so_far

    def say(self) -> str:
        """What to do next."""
        return self.guide.say()

    def keys(self) -> str:
        """What can be typed now."""
        amount = "Enter takes the pass" if self.guide.what == "wheel" else "the amount, with its unit"
        return {
            "ready": _ready(len(self.guide.taken)),
            "running": f"Enter ends, {_UNDO}",
            "amount": f"{amount}; {_UNDO}",
        }[self.guide.step]

    def live(self) -> str:
        """What is counted."""
        if self.guide.step == "ready":
            return ""
        live = self.guide.live()
        if self.guide.what == "pressure":
            return "" if live.mean_counts is None else f"{live.mean_counts:.1f} counts"
        return f"{live.pulses} pulses" + ("" if live.frequency_hz is None else f", {live.frequency_hz:.1f} Hz")

    def watch(self, report: Report) -> None:
        """Take a report of the board."""
        self.guide.watch(report)

    def take(self, word: str) -> str:
        """Enter alone, or the amount."""
        if self.guide.step != "amount":
            only_enter(word, self.keys())
            # What is counted now must be what has been: a line that is gone would cut pulses off.
            if trouble := self._board.trouble():
                raise UserError(trouble)
            if self.guide.step == "ready":
                self.guide.begin()
            else:
                self.guide.end()
            return ""
        if self.guide.what == "wheel":
            only_enter(word, self.keys())
        amount = self._read(word)
        if isinstance(amount, Amount):
            taken = self.guide.enter(amount.volume_m3, amount.vessel)
        else:
            taken = self.guide.enter(amount)
        try:
            so_far = self._so_far(self.guide.taken)
        except UserError:
            so_far = ""  # it is said at the end, if it has not been put right by then
        return f"Taken: {_counted(taken)}. {so_far}".rstrip()

    def undo(self, number: int | None) -> str:
        """One step back."""
        return self.guide.undo(number)

    def finish(self) -> None:
        """Whether it makes a calibration."""
        if self.guide.step != "ready":
            raise UserError("one is still begun: end and enter it, or undo, before you finish.")
        self._so_far(self.guide.taken)

    def rows(self) -> list[dict[str, Any]]:
        """For the draft."""
        return taken_rows(self.guide.taken)

    def restore(self, draft: Draft) -> None:
        """From a draft. A wheel goes on over the course that it had."""
        taken = taken_of(draft)
        if self.guide.what == "wheel" and abs(float(self._read("")) / taken[0].amount - 1.0) > 1e-9:  # type: ignore[arg-type]
            raise UserError(f"those were over a course of {taken[0].amount:.2f} m: give that one with --course")
        self.guide.taken = taken


def counted_by_guide(
    args: argparse.Namespace,
    rig: Rig,
    what: Literal["flow", "wheel", "pressure"],
    read: Callable[[str], Amount | float],
    so_far: Callable[[list[Taken], float], str],
) -> tuple[list[Taken], DraftFile, float]:
    """What the user took with the board at --port; its draft; the board's counts at full supply.

    `so_far` judges what was taken and those counts. Raises UserError.
    """
    draft = DraftFile(args.cards.expanduser(), rig.name, args.kind)
    with board_at(args.port, rig) as board:
        talk = CountsTalk(Guide(what), board, read, lambda taken: so_far(taken, board.adc_full_scale))
        guide_through(talk, board, draft, terminal_for(args.json))
        return talk.guide.taken, draft, board.adc_full_scale


def _counted(taken: Taken) -> str:
    if taken.mean_counts is not None and not taken.pulses:
        return f"{taken.mean_counts:.2f} counts"
    time = "" if taken.duration_s is None else f" in {taken.duration_s:.2f} s"
    return f"{taken.pulses} pulses{time}"


class BoomTalk:
    """Catch test of the boom, timed here; pressure from the board or the gauge."""

    cautions = guide.CAUTIONS

    def __init__(
        self, the_guide: BoomGuide, reader: AmountReader, system: str, judge: Callable[[BoomGuide], None]
    ) -> None:
        self.guide = the_guide
        self._reader = reader
        self._system = system
        self._judge = judge

    def say(self) -> str:
        """What to do next."""
        return self.guide.say()

    def keys(self) -> str:
        """What can be typed now."""
        by_board = self.guide.board_pressure()
        example = '"40 psi"' if self._system == "us" else '"2.8 bar"'
        gauge = f"gauge, such as {example}"
        if by_board is not None:
            gauge += ", or Enter for the board's"
        return {
            "pressure": f"{gauge}; {_UNDO}" + (", f finishes" if self.guide.rounds else ""),
            "ready": f"Enter begins, {_UNDO}, f finishes",
            "running": f"Enter ends, {_UNDO}",
            "amount": f"the amount, with its unit; {_UNDO}",
        }[self.guide.step]

    def live(self) -> str:
        """Time, pressure and pulses."""
        live = self.guide.live()
        shown = []
        if self.guide.step in ("running", "amount"):
            shown.append(f"{live.seconds:.0f} s")
        if live.pressure_pa is not None:
            shown.append(format_value(live.pressure_pa, "pressure", self._system))
        if self.guide.step == "running" and live.pulses is not None:
            shown.append(f"{live.pulses} pulses")
        return ", ".join(shown)

    def watch(self, report: Report) -> None:
        """Take a report of the board."""
        self.guide.watch(report)

    def take(self, word: str) -> str:
        """Enter alone, the gauge, or an amount."""
        step = self.guide.step
        if step == "pressure":
            self.guide.set_pressure(parse_quantity(word, "pressure", "the gauge") if word else None)
            return ""
        if step == "amount":
            return self.guide.enter(self._reader.read(word, f"nozzle {self.guide.nozzle}"))
        only_enter(word, self.keys())
        if step == "ready":
            self.guide.begin()
            return ""
        return f"Caught for {self.guide.end():.1f} s."

    def undo(self, number: int | None) -> str:
        """One step back."""
        if number is not None:
            raise UserError("a catch test goes back one step at a time: type u alone.")
        return self.guide.undo()

    def finish(self) -> None:
        """Whether every nozzle is there, and it makes a test."""
        self.guide.check()
        self._judge(self.guide)

    def rows(self) -> list[dict[str, Any]]:
        """For the draft."""
        return boom_rows(self.guide.rounds)

    def restore(self, draft: Draft) -> None:
        """From a draft."""
        rounds = boom_of(draft)
        count = self.guide.nozzles
        if any(len(one) != count for one in rounds[:-1]) or len(rounds[-1]) > count:
            raise UserError(f"those are of a boom that has not {count} nozzles: begin anew with n")
        self.guide.restore(rounds)


class CourseTalk:
    """A timed course: Enter as the walker passes each mark."""

    cautions = course_guide.CAUTIONS

    def __init__(self, the_guide: CourseGuide, system: str, judge: Callable[[CourseGuide], None]) -> None:
        self.guide = the_guide
        self._system = system
        self._judge = judge

    def say(self) -> str:
        """What to do next."""
        return self.guide.say()

    def keys(self) -> str:
        """What can be typed now."""
        if self.guide.step == "running":
            return f"Enter ends, {_UNDO}"
        return _ready(len(self.guide.times_s))

    def live(self) -> str:
        """The stopwatch."""
        return f"{self.guide.seconds():.0f} s" if self.guide.step == "running" else ""

    def watch(self, report: Report) -> None:
        """No board takes part."""

    def take(self, word: str) -> str:
        """Enter alone."""
        only_enter(word, self.keys())
        if self.guide.step == "ready":
            self.guide.begin()
            return ""
        time = self.guide.end()
        pace = format_value(self.guide.distance_m / time, "speed", self._system)
        spread = self.guide.spread()
        varies = "" if spread is None else f" Your passes vary by {100 * spread:.1f} %."
        return f"Pass {len(self.guide.times_s)}: {time:.1f} s, {pace}.{varies}"

    def undo(self, number: int | None) -> str:
        """One step back."""
        return self.guide.undo(number)

    def finish(self) -> None:
        """Whether it makes a calibration."""
        if self.guide.step == "running":
            raise UserError("a pass is running: end it, or undo, before you finish.")
        self._judge(self.guide)

    def rows(self) -> list[dict[str, Any]]:
        """For the draft."""
        return course_rows(self.guide.distance_m, self.guide.times_s)

    def restore(self, draft: Draft) -> None:
        """From a draft over the same course."""
        distance, times = course_of(draft)
        if abs(distance / self.guide.distance_m - 1.0) > 1e-9:
            raise UserError(f"those were over a course of {distance:.2f} m: give that one with --course")
        self.guide.times_s = times
