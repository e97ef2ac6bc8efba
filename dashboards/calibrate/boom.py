"""Catch test of the boom: nozzle after nozzle with the stopwatch, or one whole catch typed in."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from dashboards.calibrate import answers
from dashboards.calibrate.amounts import amount_reader
from dashboards.calibrate.answers import Rows
from dashboards.calibrate.sessions import TYPED, WATCH, Outcome, Stand, Typed
from dashboards.ui.forms import Entries, above_zero, sentence
from firmware_protocol.messages import Report
from host.calibrate import card_sections
from host.calibrate.amounts import Amount, one_vessel
from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.boom_guide import BoomGuide, NozzleCatch
from host.calibrate.drafts import Draft, boom_of, boom_rows
from host.calibrate.guide import CAUTIONS
from host.errors import UserError
from host.rig import Rig
from host.units import format_value


class BoomSession:
    """The boom of one rig."""

    ways: Mapping[str, str] = {WATCH: "Nozzle by nozzle", TYPED: "All typed in"}
    cautions = CAUTIONS

    def __init__(self, rig: Rig, clock: Callable[[], float] = time.monotonic) -> None:
        self._system = rig.units
        self._clock = clock
        self._guide = BoomGuide(rig.nozzles.count, clock, rig.pressure)
        self._speed_m_s: float | None = None

    def check(self, rig: Rig) -> None:
        """Every rig has a boom."""

    def watch(self, report: Report, adc_full_scale: float) -> None:
        """Take a report of the board."""
        self._guide.adc_full_scale = adc_full_scale
        self._guide.watch(report)

    def running(self) -> bool:
        """Whether a nozzle is being caught."""
        return self._guide.step == "running"

    def stand(self, way: str) -> Stand:
        """How things stand."""
        if way == TYPED:
            say = (
                "Hold one pressure, catch every nozzle for the same time, and enter what each gave. "
                "Two pressures tell more."
            )
            return Stand(say, group=TYPED, enter="Enter")
        guide = self._guide
        counted, about = self._live()
        if guide.step in ("pressure", "amount"):
            return Stand(guide.say(), group=f"{WATCH} {guide.step}", enter="Enter", counted=counted, about=about)
        return Stand(guide.say(), "End" if self.running() else "Begin", counted=counted, about=about)

    def _live(self) -> tuple[str, str]:
        """The watch, and what the board says of the pressure."""
        live = self._guide.live()
        pressure = live.pressure_pa
        board = "" if pressure is None else f"{format_value(pressure, 'pressure', self._system)} by the board"
        if self._guide.step in ("running", "amount"):
            return f"{live.seconds:.0f}", "s" + (f", {board}" if board else "")
        return "", board

    def settle(self, typed: Typed) -> None:
        """The speed that the rate is told for."""
        entries = Entries(typed)
        self._speed_m_s = entries.read("speed", above_zero("speed", "The speed"))
        entries.check()

    def act(self, typed: Typed) -> str:
        """Start or stop the watch for one nozzle."""
        if self._guide.step == "ready":
            self._guide.begin()
            return "The watch runs."
        return f"Caught for {self._guide.end():.1f} s."

    def enter(self, way: str, typed: Typed, rig: Rig) -> str:
        """Take a pressure, what one nozzle gave, or a whole catch."""
        entries, guide = Entries(typed), self._guide
        if way == TYPED:
            return self._whole_catch(entries, rig)
        if guide.step == "pressure":
            pressure = entries.read("pressure", above_zero("pressure", "The pressure"))
            entries.check()
            guide.set_pressure(pressure)
            return ""
        reader, what = amount_reader(entries), f"nozzle {guide.nozzle}"
        amount = entries.need("amount", lambda text: reader.read(text, what.capitalize()), f"Enter what {what} gave.")
        entries.check()
        assert amount is not None
        return guide.enter(amount)

    def _whole_catch(self, entries: Entries, rig: Rig) -> str:
        reader = amount_reader(entries)
        pressure = entries.need("pressure", above_zero("pressure", "The pressure"), "Enter what the gauge showed.")
        seconds = entries.need("time", above_zero("time", "The time"), "Enter how long was caught.")
        caught = [
            entries.need(
                nozzle_field(number),
                lambda text, number=number: reader.read(text, f"Nozzle {number}"),  # type: ignore[misc]
                f"Enter what nozzle {number} gave.",
            )
            for number in range(1, rig.nozzles.count + 1)
        ]
        self._of_one_vessel(entries, caught)
        entries.check()
        if self._guide.step != "pressure":
            raise UserError("a catch is half taken nozzle by nozzle: finish it, or undo it, then enter this one.")
        amounts = [one for one in caught if one is not None]
        assert pressure is not None and seconds is not None
        self._guide.rounds.append([NozzleCatch(one, seconds, pressure, True) for one in amounts])
        return f"Taken: catch {len(self._guide.rounds)}, {len(amounts)} nozzles."

    def _of_one_vessel(self, entries: Entries, caught: Sequence[Amount | None]) -> None:
        before = [one.amount for taken in self._guide.rounds for one in taken][:1]
        for number, one in enumerate(caught, start=1):
            if one is None:
                continue
            try:
                one_vessel([*before, one])
            except UserError as error:
                entries.sentences.setdefault(nozzle_field(number), sentence(str(error)))
                return
            before = before or [one]

    def can_undo(self) -> bool:
        """Whether anything was begun or taken."""
        return bool(self._guide.rounds)

    def undo(self, number: int | None) -> str:
        """One step back."""
        return self._guide.undo()

    def taken(self, rig: Rig) -> Rows | None:
        """Every nozzle that was caught."""
        return answers.boom_taken(self._guide.rounds, rig.units) if any(self._guide.rounds) else None

    def rows(self) -> list[dict[str, Any]]:
        """For the draft."""
        return boom_rows(self._guide.rounds)

    def restore(self, draft: Draft) -> None:
        """From a draft of a boom with as many nozzles."""
        rounds = boom_of(draft)
        if any(len(one) > self._guide.nozzles for one in rounds):
            raise UserError(
                f"the draft is of a boom with more than {self._guide.nozzles} nozzles: move boom.draft out of the "
                "folder of cards."
            )
        self._guide.restore(rounds)

    def whole(self) -> None:
        """Whether every nozzle is caught at every pressure."""
        self._guide.check()

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of the pressures at which every nozzle is caught."""
        rounds = [one for one in self._guide.rounds if len(one) == self._guide.nozzles]
        if not rounds:
            self._guide.check()
        speed = self._speed_m_s or (rig.course.speed_m_s if rig.course else None)
        nozzles = [one for caught in rounds for one in caught]
        reading = Reading(vessel=one_vessel(one.amount for one in nozzles))
        if rig.pressure and rig.pressure.uncertainty_pa and not any(one.by_gauge for one in nozzles):
            reading = replace(reading, transducer_pa=float(rig.pressure.uncertainty_at(rig.pressure.high_pa)))
        test = catch_test(self._catches(rounds), rig, speed, reading)
        return Outcome(answers.boom_answer(test, rig, speed), {}, dict(card_sections.boom_record(rig, test, reading)))

    def _catches(self, rounds: list[list[NozzleCatch]]) -> list[BoomCatch]:
        whole = BoomGuide(self._guide.nozzles, self._clock)
        whole.restore(rounds)
        # Nozzles that were caught together share one time and its error; stopped one by one, no two times are the same.
        return [replace(one, times_s=None) if len(set(one.times_s or ())) == 1 else one for one in whole.catches()]


def nozzle_field(number: int) -> str:
    """Name of the field for what one nozzle gave."""
    return f"nozzle_{number}"
