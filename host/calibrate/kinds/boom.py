"""Catch test of the boom: nozzle after nozzle with the stopwatch, or all nozzles at one pressure typed in."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from firmware_protocol.messages import Report
from host.calibrate.amounts import Amount, AmountReader, one_jug
from host.calibrate.boom import Reading, catch_test
from host.calibrate.boom_card import boom_card, boom_measured
from host.calibrate.budget import plus_minus_text
from host.calibrate.cards import Card
from host.calibrate.drafts import not_whole, point_from
from host.calibrate.kinds.boom_checks import boom_questions, not_standard
from host.calibrate.kinds.boom_document import bars_of, boom_document
from host.calibrate.kinds.gauge import GAUGE_FIELDS, gauge_read
from host.calibrate.kinds.jug import AMOUNT, JUG_FIELDS, READ_THE_JUG, amount_reader, caught
from host.calibrate.kinds.kind import Field, Guided, Job, Kind, Outcome, Session, Step, Way, fields_of, outcome_of
from host.calibrate.nozzle_catches import NozzleCatch, NozzleCatches, boom_catch
from host.calibrate.shared_errors import line_of
from host.calibrate.uncertainty import combine
from host.calibrate.vessels import USUAL_GAUGE, Vessel
from host.documents.document import Block, Column, Table, column, quantity
from host.documents.words import sentence
from host.entries import Entries, above_zero
from host.errors import BadInputError, DamagedFileError, UserError
from host.rig import Rig
from host.units import format_value

_GAUGE = Field(
    "pressure", "Gauge at the boom (blank: the board's)", "40 psi", "2.5 bar", quantity="pressure", required=False
)
_TYPED = (
    Field("pressure", "Pressure", "40 psi", "2.5 bar", quantity="pressure"),
    Field("time", "Caught for", "55 s", quantity="time"),
    Field("nozzle", "Nozzle", "44 fl oz", "1300 mL", quantity="amount", each_nozzle=True),
)
_WAYS = (
    Guided("watch", "Nozzle by nozzle", (_GAUGE, AMOUNT), board="useful"),
    Way(
        "typed",
        "Type in numbers",
        _TYPED,
        "Hold one pressure, catch every nozzle for the same time, and enter what each gave. Two pressures tell more.",
        option="catch",
    ),
)
_SPEED = Field("speed", "Spraying speed", "2.5 mph", "4 km/h", quantity="speed", required=False)
_CATCH_FOR = Field("catch_for", "Countdown of a catch (blank: 30 s)", "30 s", quantity="time", required=False)
LEAD_S, CATCH_FOR_S = 5.0, 30.0  # of a countdown: to get the jug in place, and of the catch itself
_NUMBER = int | float
_CATCH = {"duration_s": _NUMBER, "pressure_pa": _NUMBER, "by_gauge": bool, "together": bool, "amount": Amount}
_JUG = {"name": str, "step_m3": _NUMBER, "accuracy": _NUMBER, "tool": str, "density_spread": _NUMBER}


class BoomSession(Session):
    """All nozzles at one or more pressures."""

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self._catches = NozzleCatches(job.rig.nozzles.count, job.clock, job.rig.pressure)
        self._speed_m_s: float | None = None
        self._reader = AmountReader()
        self._gauge = USUAL_GAUGE
        self._catch_for_s = CATCH_FOR_S
        self._again = False  # whether the last catch had a countdown, as the next one then has

    def use(self, job: Job) -> None:
        """Go on with the rig and the cards as they are now: the board's pressure by the active card."""
        super().use(job)
        self._catches.sensor = job.rig.pressure

    def settle(self, entries: Entries) -> None:
        """The speed that the rate is told for, and how well amounts and pressures are read."""
        self._reader = amount_reader(entries)
        self._speed_m_s = entries.read("speed", above_zero("speed", "The speed"))
        self._gauge = gauge_read(entries)
        self._catch_for_s = entries.read("catch_for", _read_countdown) or CATCH_FOR_S

    def watch(self, report: Report, adc_full_scale: float) -> None:
        """Take a report of the board."""
        self._catches.adc_full_scale = adc_full_scale
        self._catches.watch(report)

    @property
    def running(self) -> bool:
        """Whether a nozzle is being caught."""
        return self._catches.step == "running"

    def step(self) -> Step:
        """What to do next."""
        self._catches.tick()
        catches, (figure, about) = self._catches, self._figure()
        nozzle = f"nozzle {catches.nozzle} of {catches.nozzles}"
        countdown = f"Catch for {self._catch_for_s:.0f} s"
        if catches.step == "pressure":
            # With a board there is a pressure already: the gauge is only for who trusts it more.
            start = ("Start", countdown) if catches.board_pressure() is not None else ("", "")
            message = self._next_pressure(bool(start[0]))
            return Step(message, *start, fields=(_GAUGE,), save="Use the gauge", figure=figure, about=about)
        if catches.step == "ready":
            message = f"Keep spraying. Start as you hold the jug upright, close under {nozzle}."
            return Step(message, "Start", countdown, picture="jug-hold", figure=figure, about=about)
        if catches.step == "running":
            message = f"Catch all of {nozzle}; half a minute or more. Stop as you pull the jug away."
            if catches.timed is not None:
                message = f"Hold the jug under {nozzle} from the first beep on, and pull it away at the last."
            return Step(message, "Stop", figure=figure, about=about, timed=catches.timed, in_progress=True)
        message = f"{READ_THE_JUG}, and enter what {nozzle} gave."
        then = f"Save, start nozzle {catches.nozzle + 1}" if self._again and catches.nozzle < catches.nozzles else ""
        return Step(
            message,
            fields=(AMOUNT,),
            save="Save catch",
            save_next=then,
            picture="jug-read",
            figure=figure,
            about=about,
            in_progress=True,
        )

    def _next_pressure(self, by_board: bool) -> str:
        done = len(self._catches.rounds)
        if not done:
            then = "start as you hold the jug under nozzle 1" if by_board else "read the gauge"
            return f"Spray clean water with all nozzles open, set one steady pressure, and {then}."
        more = "a second pressure, which proves gauge and nozzles" if done == 1 else "one more pressure if you like"
        pressures = "one pressure" if done == 1 else f"{done} pressures"
        return f"All {self._catches.nozzles} nozzles are caught at {pressures}: finish, or set {more}."

    def _figure(self) -> tuple[str, str]:
        """The stopwatch or the countdown, and the pressure from the board."""
        catches = self._catches
        pressure = catches.board_pressure()
        board = "" if pressure is None else f"{format_value(pressure, 'pressure', self.job.rig.units)} by the board"
        if catches.step not in ("running", "amount"):
            return "", board
        seconds, about = catches.seconds, "s"
        if catches.step == "running" and catches.timed is not None:
            _, to_start, to_end = catches.timed
            seconds, about = (
                (math.ceil(to_start), "s to go: get ready") if to_start > 0 else (math.ceil(to_end), "s left")
            )
        return f"{seconds:.0f}", about + (f", {board}" if board else "")

    def press(self, second: bool = False) -> str:
        """Start or stop the watch for one nozzle; the second button starts a countdown."""
        catches = self._catches
        if catches.step == "pressure":
            catches.set_pressure(None)
        if catches.step == "ready":
            self._again = second
            catches.start(*((LEAD_S, self._catch_for_s) if second else ()))
            return ""
        return f"Caught for {catches.stop():.1f} s."

    def save(self, way: str, entries: Entries) -> str:
        """Take a pressure, what one nozzle gave, or all nozzles at one pressure."""
        if way == "typed":
            return self._all_typed(entries)
        if self._catches.step == "pressure":
            pressure = entries.read("pressure", above_zero("pressure", "The pressure"))
            entries.check()
            self._catches.set_pressure(pressure)
            return ""
        amount = caught(entries, self._reader)
        entries.check()
        assert amount is not None
        return self._catches.take(amount)

    def _all_typed(self, entries: Entries) -> str:
        pressure = entries.need("pressure", above_zero("pressure", "The pressure"), "Enter what the gauge showed.")
        seconds = entries.need("time", above_zero("time", "The time"), "Enter how long you caught.")
        amounts: list[Amount] = []
        for field in fields_of(_TYPED[2:], self._catches.nozzles):
            amount = self._one_nozzle(entries, field, amounts)
            if amount is not None:
                amounts.append(amount)
        entries.check()
        assert pressure is not None and seconds is not None
        self._catches.take_all([NozzleCatch(amount, seconds, pressure, True, together=True) for amount in amounts])
        return f"Saved: pressure {len(self._catches.rounds)}, {len(amounts)} nozzles."

    def _one_nozzle(self, entries: Entries, field: Field, before: list[Amount]) -> Amount | None:
        what = field.label
        amount = entries.need(
            field.name, lambda text: self._reader.read(text, what), f"Enter what {what.lower()} gave."
        )
        if amount is None:
            return None
        earlier = [catch.amount for caught in self._catches.rounds for catch in caught]
        try:
            one_jug([*earlier, *before, amount])
        except UserError as error:
            entries.sentences[field.name] = sentence(str(error))
        return amount

    @property
    def can_undo(self) -> bool:
        """Whether anything was started or taken."""
        return bool(self._catches.rounds)

    def undo(self, number: int | None = None) -> str:
        """One step back."""
        if number is not None:
            raise BadInputError("a catch test goes back one step at a time: undo without a number.")
        return self._catches.undo()

    @property
    def droppable(self) -> int:
        """None: it goes back one step at a time."""
        return 0

    def rows(self) -> list[dict[str, Any]]:
        """For the draft: each nozzle with the number of its pressure."""
        rounds = enumerate(self._catches.rounds, start=1)
        return [{"round": number, **asdict(catch)} for number, caught in rounds for catch in caught]

    def restore(self, rows: list[dict[str, Any]]) -> None:
        """From a draft."""
        rounds: dict[str, list[NozzleCatch]] = {}
        for row in rows:
            rest = {name: value for name, value in row.items() if name not in ("round", "amount")}
            catch = point_from(NozzleCatch, rest | {"amount": _amount(row.get("amount"))}, _CATCH)
            rounds.setdefault(str(row.get("round")), []).append(catch)
        self._catches.restore([_as_caught(caught, "together" in rows[0]) for caught in rounds.values()])

    def points(self) -> Table:
        """What each nozzle gave at each pressure."""
        system = self.job.rig.units
        columns = (
            Column("", "Nozzle"),
            column("", "At", "pressure", system),
            Column("", "For", "s"),
            Column("", "Caught"),
        )
        rows = tuple(
            (
                number,
                quantity(catch.pressure_pa, "pressure", system),
                quantity(catch.duration_s, "time", system),
                catch.amount.typed or quantity(catch.amount.volume_m3, "catch", system).text,
            )
            for caught in self._catches.rounds
            for number, catch in enumerate(caught, start=1)
        )
        return Table("", columns, rows)

    def so_far(self) -> tuple[Block, ...]:
        """The points, and bars of the nozzles at the pressure in progress."""
        rounds = self._catches.rounds
        return (self.points(), *([bars_of(self.job.rig, rounds[-1])] if rounds and rounds[-1] else []))

    def check(self) -> None:
        """Whether every nozzle is caught at every pressure."""
        self._catches.check()

    def outcome(self) -> Outcome:
        """What has come of the pressures at which every nozzle is caught."""
        rig, rounds = self.job.rig, self._catches.whole_rounds
        if not rounds:
            self._catches.check()
        speed = self._speed_m_s or (rig.course.speed_m_s if rig.course else None)
        reading = self._reading([catch for caught in rounds for catch in caught])
        test = catch_test([boom_catch(caught) for caught in rounds], rig, speed, reading)
        document, measured = boom_document(test, rig, speed), boom_measured(rig, test, reading)
        questions = boom_questions(test, self.job)
        why_not = "" if questions else not_standard(test, self.job)
        return outcome_of(document, {}, measured, questions, why_not)

    def _reading(self, catches: Sequence[NozzleCatch]) -> Reading:
        reading = Reading(vessel=one_jug(catch.amount for catch in catches), gauge=self._gauge)
        sensor = self.job.rig.pressure
        if sensor and sensor.uncertainty_pa and not any(catch.by_gauge for catch in catches):
            highest = max(catch.pressure_pa for catch in catches)
            reading = replace(reading, transducer_pa=float(sensor.uncertainty_at(highest)), transducer=line_of(sensor))
        return reading


def _read_countdown(text: str) -> float:
    seconds = above_zero("time", "The countdown")(text)
    if not 5.0 <= seconds <= 600.0:
        raise BadInputError(f'the countdown is "{text}": give one from 5 s to 10 min.')
    return seconds


def _as_caught(caught: list[NozzleCatch], said: bool) -> list[NozzleCatch]:
    """An older draft does not say what was caught together: stopped one by one, no two times were the same."""
    alike = len({catch.duration_s for catch in caught}) == 1
    return caught if said else [replace(catch, together=alike) for catch in caught]


def _amount(row: object) -> Amount:
    if not isinstance(row, Mapping) or not isinstance(row.get("volume_m3"), _NUMBER):
        raise not_whole()
    vessel = point_from(Vessel, row.get("vessel"), _JUG)
    return Amount(float(row["volume_m3"]), vessel, str(row.get("typed", "")))


def _plus_minus(rig: Rig, card: Card | None) -> str:
    if card is None:
        return ""
    try:
        worst = max(combine(parts).expanded for parts in boom_card(card).parts)
        return plus_minus_text(worst, "fraction", rig.units)
    except DamagedFileError:
        return "its card cannot be read: repeat the catch test"


KIND = Kind(
    name="boom",
    title="Catch test",
    summary="what each nozzle of the boom gives",
    ways=_WAYS,
    settings=(_SPEED, _CATCH_FOR, *JUG_FIELDS, *GAUGE_FIELDS),
    session=BoomSession,
    plus_minus=_plus_minus,
)
