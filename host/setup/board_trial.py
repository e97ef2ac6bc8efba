"""A bring-up that goes on beside the page that shows it: in a thread of its own, with figures to watch live."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from firmware_protocol.messages import MEAN_STEPS, Capability, Flag, Report
from host.bringup import Bench, Finding, Grade
from host.bringup.board_session import Heard
from host.bringup.by_hand import STEPS
from host.bringup.document import bringup_document
from host.bringup.trial import Person, findings_of, listened_to
from host.documents.document import Document
from host.documents.json import to_json
from host.documents.words import percent, sentence
from host.errors import NoAnswerError, UserError
from host.formulas import flow_from_frequency
from host.frames import counter_difference
from host.link.ports import Port
from host.rig import Rig
from host.units import format_value

LISTEN_S = 10.0
STEP_S = 60.0  # for each step by hand: wet gloves and a walk around the sprayer
ALONE_S = 60.0  # nobody has looked for so long: the port is given back
_RATE_S = 1.0  # over so long a speed is counted
_LISTENING = "Leave everything alone for ten seconds: the board is listened to."
_WHEEL_TURN = "Turn the wheel"


@dataclass(frozen=True)
class Reading:
    """A figure to watch: its name, itself with unit, what it comes from, and whether the step asks for it."""

    name: str
    value: str
    more: str
    asked: bool


@dataclass(frozen=True)
class TrialView:
    """How far it is. `question` waits for an answer, with the words of the two `buttons`, yes first."""

    port: str
    message: str
    findings: tuple[Finding, ...] = ()
    readings: tuple[Reading, ...] = ()
    question: str = ""
    buttons: tuple[str, str] = ("", "")
    can_skip: bool = False
    document: Document | None = None
    error: str = ""

    @property
    def over(self) -> bool:
        """Whether the port has been given back."""
        return bool(self.error or self.document)


class _StoppedError(Exception):
    """Nobody wants to go on."""


class BoardTrial:
    """Tries the board at `port`. Safe for several threads: the trial's own writes, pages look and answer.

    `keep` is given the result as JSON. `clock` gives seconds that never jump.
    """

    def __init__(
        self,
        port: str,
        rig: Rig,
        open_port: Callable[[str], Port],
        clock: Callable[[], float],
        keep: Callable[[str], object],
    ) -> None:
        self.port, self._rig, self._open, self._clock, self._keep = port, rig, open_port, clock, keep
        self._lock = threading.Condition()
        self._message, self._step = "Looking for the board.", ""
        self._findings: list[Finding] = []
        self._question, self._buttons = "", ("", "")
        self._answer: bool | None = None
        self._document: Document | None = None
        self._error = ""
        self._stop = self._skipped = False
        self._seen_at = clock()
        self._ahead_s = 0.0
        self._full_scale = 0
        self._first: Report | None = None
        self._recent: list[Report] = []
        self._thread = threading.Thread(target=self._run, name="board trial", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, wait_s: float = 0.0) -> None:
        """End it before its end; the port is given back within a second."""
        with self._lock:
            self._stop = True
            self._lock.notify_all()
        self._thread.join(wait_s)

    def answer(self, question: str, yes: bool) -> None:
        """Answer a question; nothing when another is being asked by now."""
        with self._lock:
            if self._question and question == self._question:
                self._answer = yes
                self._lock.notify_all()

    def skip(self, step: str) -> None:
        """Go on without this step; nothing when it is over already."""
        with self._lock:
            if self._step and step == self._step and not self._question:
                self._skipped = True
                self._ahead_s += STEP_S

    def view(self) -> TrialView:
        """How far it is, for a page; a trial that nobody looks at ends."""
        with self._lock:
            self._seen_at = self._clock()
            return TrialView(
                self.port,
                self._message,
                tuple(self._findings),
                self._readings() if not (self._document or self._error) else (),
                self._question,
                self._buttons,
                bool(self._step) and not self._question,
                self._document,
                self._error,
            )

    def _run(self) -> None:
        port: Port | None = None
        try:
            port = self._open(self.port)
            self._try(_WatchedBench(port, lambda: self._clock() + self._ahead_s, self._look))
        except UserError as error:
            self._fail(sentence(str(error)))
        except OSError:
            self._fail(f"The board on {self.port} was lost: plug it in again and start over.")
        except _StoppedError:
            self._fail("Stopped before the end. Nothing is saved.")
        finally:
            if port is not None:
                port.close()

    def _try(self, bench: Bench) -> None:
        self._say(_LISTENING)
        listened = listened_to(bench, self.port, LISTEN_S, self._rig)
        if listened.identity is None:
            raise NoAnswerError(f"the board on {self.port} does not say who it is: load Swardflow's firmware on it")
        with self._lock:
            self._full_scale = listened.identity.adc_full_scale
            self._message = "Checking that the board answers its commands."
        person = Person(self._say, self._ask)
        for finding in findings_of(bench, listened, self._rig, person, STEP_S):
            with self._lock:
                skipped = self._skipped and finding.what == _name_of(self._step)
                self._skipped = self._skipped and not skipped
                words = "skipped, so it is not known whether it works"
                self._findings.append(Finding(Grade.NOTE, finding.what, words) if skipped else finding)
                self._step = ""
        document = bringup_document(listened, self._findings)
        self._keep(json.dumps(to_json(document), indent=2, allow_nan=False) + "\n")
        with self._lock:
            self._document, self._message = document, ""

    def _fail(self, words: str) -> None:
        with self._lock:
            self._error, self._step, self._question = words, "", ""

    def _say(self, text: str) -> None:
        """A line for the person; those that begin with blanks repeat a count that is shown live."""
        if text.startswith(" "):
            return
        with self._lock:
            self._message = text
            self._step = text if _name_of(text) else ""
            self._first = None

    def _ask(self, question: str) -> bool:
        with self._lock:
            if self._skipped:
                return False
            again = question.endswith("Try again?")
            self._question = sentence(question)
            self._buttons = ("Try again", "Go on") if again else ("Yes", "No")
            self._answer = None
            while self._answer is None:
                self._check()
                self._lock.wait(0.2)
            self._question = ""
            return self._answer

    def _check(self) -> None:
        if self._stop or self._clock() - self._seen_at > ALONE_S:
            raise _StoppedError

    def _look(self, heard: Sequence[Heard]) -> None:
        with self._lock:
            self._check()
            for line in heard:
                if isinstance(line.message, Report):
                    self._take(line.message)

    def _take(self, report: Report) -> None:
        if self._first is None or self._first.boot != report.boot:
            self._first, self._recent = report, []
        self._recent.append(report)
        while counter_difference(report.clock, self._recent[0].clock) > _RATE_S * 1e6 and len(self._recent) > 2:
            self._recent.pop(0)

    def _readings(self) -> tuple[Reading, ...]:
        """Counts since the step began, and what they come to in the units of the rig."""
        if self._first is None or not self._recent:
            return ()
        rig, now, asked = self._rig, self._recent[-1], _name_of(self._step)
        flow_hz, wheel_hz = (self._rate(name) for name in ("flow_count", "wheel_count"))
        flow = flow_from_frequency(flow_hz, float(rig.meter.pulses_per_m3(flow_hz)))
        found = [self._counted("Flow meter", "flow_count", format_value(flow, "flow", rig.units), asked)]
        if rig.pressure and self._full_scale:
            pressure = float(rig.pressure.pressure_pa(now.pressure_mean / MEAN_STEPS, self._full_scale))
            share = now.pressure_mean / MEAN_STEPS / self._full_scale
            shown = format_value(pressure, "pressure", rig.units)
            found.append(
                Reading("Pressure", shown, f"{percent(share, 1)} of the supply", asked == "pressure transducer")
            )
        if rig.wheel:
            speed = format_value(wheel_hz * rig.wheel.metres_per_pulse, "speed", rig.units)
            found.append(self._counted("Wheel sensor", "wheel_count", speed, asked))
        if rig.spray_switch:
            closed = "closed" if now.flags & Flag.SPRAY else "open"
            found.append(Reading("Spray switch", closed, "", asked == "spray switch"))
        return tuple(found)

    def _counted(self, name: str, field: str, rate: str, asked: str) -> Reading:
        assert self._first is not None
        pulses = counter_difference(getattr(self._recent[-1], field), getattr(self._first, field))
        return Reading(name, f"{pulses}", f"pulses, {rate}", asked == name.lower())

    def _rate(self, field: str) -> float:
        first, last = self._recent[0], self._recent[-1]
        seconds = counter_difference(last.clock, first.clock) / 1e6
        return int(counter_difference(getattr(last, field), getattr(first, field))) / seconds if seconds else 0.0


class _WatchedBench(Bench):
    """A bench whose lines are shown to somebody as they come."""

    def __init__(self, port: Port, clock: Callable[[], float], look: Callable[[Sequence[Heard]], None]) -> None:
        super().__init__(port, clock)
        self._look = look

    def hear(self) -> list[Heard]:
        heard = super().hear()
        self._look(heard)
        return heard


def _name_of(ask: str) -> str:
    """The name of the step that asks so; empty when none does."""
    if ask.startswith(_WHEEL_TURN):
        return next(step.name for step in STEPS if step.needs is Capability.WHEEL)
    return next((step.name for step in STEPS if step.ask == ask), "")
