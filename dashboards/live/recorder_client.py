"""The recorder seen from the page: how it is, and what the buttons ask of it."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dashboards.supervision import Supervisor
from dashboards.web.visitor import visitor_name
from host.errors import BadInputError, NoAnswerError, NotNowError, UserError, visible
from host.events import ALARM_MUTED, ALARM_SEEN, ALARM_UNMUTED, WORK_PAUSED, WORK_RESUMED
from host.recorder import RunFollower, ask
from host.units import format_value, parse_quantity

ASK_S = 0.25
ALARM_TENTHS = 30
FORGET_S = 2.0  # a recorder that has not answered for so long is called silent
MOST_ADDED_M3 = 10.0
LONGEST_WORD = 80
TAPS = {"seen": ALARM_SEEN, "sound-off": ALARM_MUTED, "sound-on": ALARM_UNMUTED}  # button to kind of event
PAUSES = {
    "pause": (WORK_PAUSED, "Paused: kept in the run. Recording continues."),
    "resume": (WORK_RESUMED, "Work resumed."),
}
Asker = Callable[[Path, dict[str, Any]], dict[str, Any]]

RECORDING = {
    "none": "No run",
    "unknown": "Looking for the recorder",
    "on": "Recording",
    "full": "Disk full: not saving",
    "trouble": "Disk error: not saving",
    "ended": "Recording ended",
    "silent": "Recorder not answering",
}
LIVE = frozenset({"on", "full", "trouble"})  # codes under which lines go on coming in
_CODES = {"recording": "on", "starting": "on", "stopping": "ended", "disk full": "full", "disk error": "trouble"}
_MAKE_ROOM = "The disk is full: make room on it. New data is kept in memory and written as soon as there is room."
_MEND = "The disk cannot be written ({trouble}): check it. New data is kept in memory until it can."
_LINK_SENTENCES = {
    "unreadable": "The board's data is unreadable: check the baud rate and the wiring.",
    "wrong protocol": "The board's firmware is of another version: load the firmware that came with this Swardflow.",
}


@dataclass(frozen=True)
class RecorderState:
    """`code` is a key of RECORDING; `detail` a sentence for the person, or empty; `link` the line to the board.

    `now_in` is the name of the file that the run goes on in, where its own was lost; `aside` says so, for whoever looks
    for it: nothing has to be done.
    """

    code: str
    detail: str = ""
    link: str = ""
    now_in: str = ""
    aside: str = ""


def state_from(status: dict[str, Any]) -> RecorderState:
    """The state in a recorder's answer to "status"."""
    code = "unknown" if "error" in status else _CODES.get(str(status.get("state")), "silent")
    link = str(status.get("link", ""))
    detail = str(status.get("error") or status.get("link_trouble") or _LINK_SENTENCES.get(link, ""))
    if code == "full":
        detail = _MAKE_ROOM
    elif code == "trouble":
        detail = _MEND.format(trouble=status.get("trouble") or "no reason given")
    rescued, run = status.get("rescued") or (), Path(str(status.get("run")))
    if not rescued:
        return RecorderState(code, detail, link)
    # A folder says nothing to whoever has a phone in his hand.
    aside = str(rescued[-1]).removesuffix(f", in {run}")
    return RecorderState(code, detail, link, run.name, f"{aside}, as {run.stem}")


def _by() -> dict[str, str]:
    """Who asks, where it is a guest of a shared page."""
    return {"by": name} if (name := visitor_name()) else {}


class RecorderClient:
    """Asks the recorder of one run how it is, in a thread of its own, and passes on what the buttons ask.

    A recorder that hangs holds up this thread only. `ask_recorder` puts a request and raises UserError without answer.
    """

    def __init__(
        self,
        ask_recorder: Asker = ask,
        clock: Callable[[], float] = time.monotonic,
        supervisor: Supervisor | None = None,
    ) -> None:
        self._ask = ask_recorder
        self._supervisor = supervisor or Supervisor()
        self._clock = clock
        self._run: Path | None = None
        self._status: dict[str, Any] | None = None
        self._answered_at: float | None = None
        self._watched_at = 0.0
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._alarm = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Let a thread ask until `close`."""
        self._thread = threading.Thread(target=self._keep_asking, name="recorder client", daemon=True)
        self._thread.start()

    def sound_alarm(self) -> None:
        """Have the board sound its buzzer and light its light for some seconds; never waits."""
        self._alarm.set()

    def close(self) -> None:
        """Stop asking."""
        self._stop.set()

    def watch(self, run: Path | None) -> None:
        """Which run to ask about from now on."""
        with self._lock:
            self._run, self._status, self._answered_at = run, None, None
            self._watched_at = self._clock()

    def look(self) -> None:
        """Poll the supervisor and the recorder once."""
        self._supervisor.look()
        run = self._run
        if run is None:
            return
        try:
            status: dict[str, Any] | None = self._ask(run, {"ask": "status"})
        except NoAnswerError:
            status = None
        except UserError as error:  # it does not say how it is, or this program cannot ask: not the same as silence
            status = {"error": str(error)}
        with self._lock:
            if run == self._run and status is not None:
                self._status, self._answered_at = status, self._clock()

    def state(self) -> RecorderState:
        """What is known at the moment; never waits."""
        state, notice = self._state(), self._supervisor.known().notice
        return replace(state, detail=state.detail or notice)

    def _state(self) -> RecorderState:
        with self._lock:
            if self._run is None:
                return RecorderState("none")
            since = self._clock() - (self._answered_at or self._watched_at)
            if since > FORGET_S:
                return RecorderState("silent")
            return state_from(self._status) if self._status else RecorderState("unknown")

    def open_source(self, run: Path) -> RunFollower:
        """Follow a run; what its file holds not yet is asked of the recorder only when the disk takes nothing.

        Raises UserError when the file cannot be opened.
        """
        return RunFollower(run, self._ask_for_follower)

    def tell(self, action: str, fields: dict[str, Any]) -> str:
        """Do what a button asks: "mark"; "word" with `text` for the last mark; "refill" with `full` or `added` (text
        with unit); "undo" with `of`, "refill" or "mark"; "pause"; "resume"; "stop"; or one of TAPS.

        Returns the sentence to show. Raises UserError when it cannot be done.
        """
        run = self._run
        if run is None:
            raise NotNowError("Nothing is being recorded.")
        if action == "mark":
            self._put(run, {"ask": "event", "kind": "mark"} | _by())
            return "Marked."
        if action == "word":
            text = " ".join(str(fields.get("text", "")).split())
            if not text or len(text) > LONGEST_WORD:
                raise BadInputError(f"Enter a word or a few, up to {LONGEST_WORD} letters.")
            self._put(run, {"ask": "mark_text", "text": visible(text)} | _by())
            return f"Marked: {visible(text)}."
        if action == "undo":
            of = str(fields.get("of", ""))
            self._put(run, {"ask": "undo", "of": of} | _by())
            return "Refill undone." if of == "refill" else "Mark undone."
        if action in TAPS or action in PAUSES:
            return self._tapped(run, action)
        if action == "refill":
            return self._refill(run, fields)
        if action == "stop":
            by = f" by {name}" if (name := visitor_name()) else ""
            self._put(run, {"ask": "stop", "reason": f"stopped from the page{by}"})
            return "Ending the run."
        raise BadInputError(f"Not done: there is no button {action[:20]!r}.")

    def _tapped(self, run: Path, action: str) -> str:
        if action in PAUSES:
            kind, answer = PAUSES[action]
            self._put(run, {"ask": "event", "kind": kind} | _by())
            return answer
        with suppress(UserError):  # the screen is quiet already; only the record lacks it
            self._put(run, {"ask": "event", "kind": TAPS[action]} | _by())
        return "Noted."

    def _refill(self, run: Path, fields: dict[str, Any]) -> str:
        if fields.get("full") is True:
            self._put(run, {"ask": "event", "kind": "refill"} | _by())
            return "Refill recorded: tank full."
        text = fields.get("added")
        added_m3 = parse_quantity(text, "volume", "The amount added")
        if not 0 < added_m3 < MOST_ADDED_M3:
            raise BadInputError(f"The amount added is {text}: enter a number above zero and below 10,000 L.")
        system = "metric" if str(text).strip().upper().endswith("L") and "gal" not in str(text) else "us"
        words = f"{format_value(added_m3, 'volume', system)} added"
        self._put(run, {"ask": "event", "kind": "refill", "added_m3": added_m3, "text": words} | _by())
        return f"Refill recorded: {words}."

    def _put(self, run: Path, request: dict[str, Any]) -> None:
        try:
            self._ask(run, request)
        except UserError as error:
            raise type(error)(f"Not done: {error}.") from None

    def _ask_for_follower(self, run: Path, request: dict[str, Any]) -> dict[str, Any]:
        if request.get("ask") != "status":
            return self._ask(run, request)
        with self._lock:
            return dict(self._status) if self._status and run == self._run else {"state": "not running"}

    def _keep_asking(self) -> None:
        while not self._stop.is_set():
            if self._alarm.wait(ASK_S) and not self._stop.is_set():
                self._alarm.clear()
                self._sound()
            self.look()

    def _sound(self) -> None:
        run = self._run
        if run is not None:
            with suppress(UserError):  # no recorder, no board, or nothing fitted: the page has said it already
                self._ask(run, {"ask": "output", "buzzer": 1, "light": 1, "tenths": ALARM_TENTHS})
