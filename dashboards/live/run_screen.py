"""Bytes of one run file in, the newest row for the screens out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from dashboards.live.board_notices import BoardNotices
from dashboards.live.figures import Figures
from dashboards.live.screen import band_position, blank_row, clock, screen_row
from dashboards.live.trace import WINDOW_S, Trace
from firmware_protocol.messages import DEFAULT_INTERVAL_MS
from host.calibrate.boom_card import catch_held
from host.calibrate.cards import Card, apply_cards, cards_of_run
from host.calibrate.since_last_run import cards_of_last_run, new_cards_message
from host.errors import UserError
from host.events import number_of
from host.frames import Event
from host.journal.reader import Batch, RunReader
from host.journal.runs import check_schema
from host.pipeline import Fault, Pipeline, Signals, live_row
from host.pipeline.faults import Alarm
from host.review.beyond import beyond_calibration
from host.review.breaks import first_spraying_s
from host.review.run_document import verdict_answer
from host.review.totals import totals_of
from host.review.verdict import verdict_of
from host.rig import Rig, rig_from_toml
from host.rig.against_board import NO_IDENTITY, board_misfits

STALE_FLOOR_MS = 750  # the page checks ten times a second, so that numbers are grey within one second
STALE_INTERVALS = 2.2  # a board that reports slowly is given two of its own intervals
_SAYS_WHO_S = 70.0  # a board says who it is at its start, when asked, and once a minute
_CALIBRATING = "Calibrating: what a catch looks like is not called a fault."
LINK_WORDS = {
    "waiting": "No board",
    "ok": "Board ok",
    "lost": "Board unplugged",
    "silent": "Board silent",
    "unreadable": "Unreadable data from board",
    "wrong protocol": "Board has other firmware",
    "unknown": "Board unknown",
    "ended": "Run ended",
}


class RunScreen:
    """Reads on in one run and holds what the screens show of it. Not thread-safe: one thread feeds it."""

    def __init__(self, name: str, run: Path | None = None, folder: Path | None = None, units: str = "") -> None:
        """`run` is the file and `folder` that of all runs, where it is to be compared with the run before; `units` are
        shown in place of the rig's own.
        """
        self.name, self._units = name, units
        self._place = (folder, run) if folder and run else None
        self._at_start: list[str] = []  # which calibrations are new since the run before, and what is bad in one
        self.ended = False
        self.notice = ""  # one sentence when the run cannot be shown
        self._reader = RunReader()
        self._pipeline: Pipeline | None = None
        self._rig: Rig | None = None
        self._cards: list[Card] = []
        self._before: list[Event] = []  # what came before the first frame
        self._trace = Trace()
        self._link = "waiting"
        self._frames = 0
        self._marks = 0
        self._elapsed_s = 0.0
        self._paused_s: float | None = None  # when the work paused, while it does
        self._interval_ms = DEFAULT_INTERVAL_MS
        self._live: dict[str, Any] = {}  # SI units
        self._numbers: dict[str, Any] = {}
        self._in_other_units: dict[str, Any] = {}  # what of it reads otherwise there
        self._misfits: tuple[str, ...] | None = None  # where board and rig disagree; None until the board has said
        self._board = BoardNotices()
        self._last: Signals | None = None
        self._verdict = ""  # once the run has ended
        self._beyond: tuple[int, list[str]] = (0, [])  # of how many passes, and where they left the calibrations
        self._alarm = Alarm()
        self.raised = 0  # alarms raised so far
        self._said: str | None = None  # the notice by what has been read; None: not put together yet

    def push(self, data: bytes) -> bool:
        """Take the next bytes of the file; whether there are new numbers."""
        batch = self._reader.push(data)
        self._said = None
        try:
            return self._take(batch)
        except UserError as error:
            self.notice = str(error)
            return False

    def trace(self) -> list[tuple[float, float | None]]:
        """The last minute: run time in seconds, place in the band."""
        return self._trace.points()

    def row(self, link: str = "") -> dict[str, Any]:
        """The newest row, without the state of the recording.

        `link` is the line to the board as the recorder knows it at this moment; the file tells it, too, but later.
        """
        link = link if link in LINK_WORDS and link != "ok" and not self.ended else self._link
        numbers = self._numbers or blank_row(self._system)
        numbers |= {"units": self._system, "in_other_units": self._in_other_units}
        return numbers | {
            "run": self.name,
            # Without a wheel the speed is that of the timed course, whatever the walker does.
            "pace_label": "speed not measured" if self._rig and self._rig.course else "your speed",
            "elapsed": clock(self._elapsed_s) if self._frames else "",
            "marks": str(self._marks),
            "paused": "" if self._paused_s is None else f"Paused for {clock(max(self._elapsed_s - self._paused_s, 0))}",
            "link": link,
            "link_words": LINK_WORDS[link],
            "stale_ms": self._stale_ms,
            "notice": self._notice(),
            "verdict": self._verdict,
        }

    def figures(self, recording: str) -> Figures:
        """The newest numbers for programs, with the code of the recording's state."""
        return Figures(self.name, self._live, self._stale_ms, recording)

    @property
    def _stale_ms(self) -> int:
        return max(STALE_FLOOR_MS, round(STALE_INTERVALS * self._interval_ms))

    def _judge(self, last: Signals | None) -> str:
        """What the ground got, as the run's own page says it."""
        assert self._rig is not None and self._pipeline is not None
        self._pipeline.finish()
        totals = totals_of(self._pipeline, last)
        ground = verdict_of(totals, self._pipeline.passes, self._rig)
        return verdict_answer(totals, ground, self._rig.target, self._system)[0]

    def _notice(self) -> str:
        """What is to be said, put together once for each piece that was read: it is asked for at every turn."""
        if self._said is None:
            self._said = self._put_together()
        return self._said

    def _put_together(self) -> str:
        """Why the run cannot be shown; else what of the board does not fit the rig, what it has just failed to do, and
        what lies beyond the calibrations."""
        if self.notice:
            return self.notice
        silent = self._misfits is None and self._elapsed_s > _SAYS_WHO_S and self._frames
        said = [NO_IDENTITY] if silent else list(self._misfits or ())
        if self._pipeline and self._pipeline.calibrating and not self.ended:
            said.insert(0, _CALIBRATING)
        if self._rig and self._pipeline:
            said += [*self._board.messages(self._pipeline, self._system), *self._beyond[1]]
        if not (self._beyond[0] or self.ended):  # at the start; then it has been read
            said += self._at_start
        return " ".join(sentence for sentence in said if sentence)

    @property
    def frames(self) -> int:
        """Reports read so far."""
        return self._frames

    @property
    def faults(self) -> list[Fault]:
        """What the watch has called so far."""
        return self._pipeline.faults() if self._pipeline else []

    def status(self) -> tuple[str, bool, str, int, bool]:
        """What can change without a new number: the link, the end, the notice, the marks, a pause."""
        return self._link, self.ended, self._notice(), self._marks, self._paused_s is not None

    @property
    def _system(self) -> str:
        return self._units or (self._rig.units if self._rig else "us")

    @property
    def volume_unit(self) -> str:
        """The unit in which this rig's keeper counts tank fillings."""
        return "L" if self._system == "metric" else "gal"

    def _take(self, batch: Batch) -> bool:
        for event in batch.events:
            self._note(event)
        fresh = len(batch.frames) > 0
        if self._rig is None or not (fresh or self._pipeline or self.ended):
            self._before += batch.events
            return False
        if self._pipeline is None:
            # Only now are all calibration cards known that stand at the file's head.
            if self._place:
                before = cards_of_last_run(*self._place, self._rig.name)
                self._at_start.append(new_cards_message(self._cards, before))
            held = catch_held(self._rig, self._cards)
            if held:
                self._at_start.append(held.bad_words)
            self._pipeline = Pipeline(self._rig, held.pair if held else None)
            self._pipeline.push(batch.frames[:0], [replace(one, before_frame=0) for one in self._before])
            self._before.clear()
        signals = self._pipeline.push(batch.frames, batch.events)
        self._pipeline.forget_settled()
        if self.ended and not self._verdict:
            self._verdict = self._judge(signals if fresh else self._last)
        if fresh:
            self._resume(signals)
            self._last = signals
            self._frames += len(batch.frames)
            self._elapsed_s = float(batch.frames["host_s"][-1])
            if self._link == "waiting":
                self._link = "ok"
            self._extend_trace(signals.host_s, signals.rate_m3_m2)
            self._board.push(signals)
            if len(self._pipeline.passes) != self._beyond[0]:
                passes = self._pipeline.passes
                self._beyond = len(passes), beyond_calibration(self._rig, passes)
            events = self._alarm.push(self._elapsed_s, self._pipeline.faults())
            self.raised += sum(event.what == "raised" for event in events)
            self._live = live_row(self._pipeline, signals)
            live = self._live | {"frame": self._frames, "tank_low_m3": self._rig.tank.warn_m3}
            self._numbers = screen_row(live, self._system)
            other = screen_row(live, "us" if self._system == "metric" else "metric")
            self._in_other_units = {name: text for name, text in other.items() if text != self._numbers[name]}
        return fresh

    def _resume(self, signals: Signals) -> None:
        """Who sprays has resumed the work."""
        sprayed = bool(self._last.spraying[-1]) if self._last else False
        if self._paused_s is not None and first_spraying_s(
            self._paused_s, signals.host_s, signals.spraying, before=sprayed
        ):
            self._paused_s = None

    def _extend_trace(self, host_s: Any, rate_m3_m2: Any) -> None:
        assert self._rig is not None
        target = self._rig.target
        high = target.rate_m3_m2 * (1 + target.band)
        recent = np.flatnonzero(host_s >= host_s[-1] - WINDOW_S)
        for time_s, rate in zip(host_s[recent].tolist(), rate_m3_m2[recent].tolist(), strict=True):
            self._trace.add(time_s, band_position(rate, target.rate_m3_m2, high))

    def _note_board(self, event: Event) -> None:
        self._board.board_said(event)
        if event.kind == "identity":
            self._interval_ms = int(event.detail["interval_ms"])
            self._board.stated(self._interval_ms)
            self._misfits = board_misfits(self._rig, event.detail) if self._rig else ()

    def _note(self, event: Event) -> None:
        match event.kind:
            case "header":
                check_schema(event.detail, f"run {self.name}")
            case "rig" if self._pipeline is None:
                self._rig = rig_from_toml(str(event.detail.get("toml", "")), where=f"the rig in run {self.name}")
            case "calibration" if self._pipeline is None and self._rig is not None:
                self._cards += cards_of_run([event.detail])
                self._rig = apply_cards(self._rig, self._cards)
            case "identity" | "hardware":
                self._note_board(event)
            case "link_lost":
                self._link = "lost"
            case "link_back":
                self._link = "ok" if self._frames else "waiting"
            case "computer_paused":
                self._board.computer_slept(event.host_s, number_of(event, "seconds"))
            case "mark":
                self._marks += 1
            case "undo" if event.detail.get("of") == "mark":
                self._marks = max(self._marks - 1, 0)
            case "work_paused" if self._paused_s is None:
                self._paused_s = event.host_s
            case "work_resumed":
                self._paused_s = None
            case "run_end" | "trailer":
                self.ended = True
                self._link = "ended"
