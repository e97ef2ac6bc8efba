"""One calibration of each kind, as far as it has come: entries in, answer and card out. No screen, port or clock."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from dashboards.calibrate import answers
from dashboards.calibrate.amounts import amount_reader
from dashboards.calibrate.answers import Answer
from dashboards.forms import Entries, WrongEntriesError, sentence
from host.calibrate import card_sections
from host.calibrate.amounts import Amount
from host.calibrate.boom import BoomCatch, BoomTest, Reading, catch_test
from host.calibrate.guide import Guide
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.transducer import Gauge, PressurePoint, calibrate_pressure
from host.calibrate.travel import calibrate_course, calibrate_wheel
from host.calibrate.vessels import JUG, Vessel
from host.errors import UserError
from host.rig import Rig
from host.units import parse_quantity

Kind = Literal["meter", "pressure", "wheel", "course", "boom"]
Typed = Mapping[str, str | None]


@dataclass(frozen=True)
class Outcome:
    """The answer for the page; section and record for the card."""

    answer: Answer
    section: Mapping[str, Any]
    record: Mapping[str, Any]


class Session(Protocol):
    """`guide` is there where the board counts. All raise UserError; `enter` raises WrongEntriesError for fields."""

    guide: Guide | None

    def check(self, rig: Rig) -> None:
        """Whether this rig can be calibrated so."""

    def say(self) -> str:
        """What to do next."""

    def count(self) -> int:
        """How many have been entered."""

    def enter(self, typed: Typed, rig: Rig) -> str:
        """Take what was typed; the sentence that confirms it."""

    def undo(self) -> str:
        """One step back; what was dropped."""

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""


class _Guided:
    what: Literal["flow", "wheel", "pressure"]

    def __init__(self) -> None:
        self.guide: Guide | None = Guide(self.what)

    @property
    def guided(self) -> Guide:
        assert self.guide is not None
        return self.guide

    def say(self) -> str:
        """What to do next."""
        return self.guided.say()

    def count(self) -> int:
        """How many have been entered."""
        return len(self.guided.taken)

    def undo(self) -> str:
        """One step back."""
        return self.guided.undo()


class MeterSession(_Guided):
    """Flow meter: catches in a jug or on a balance."""

    what: Literal["flow", "wheel", "pressure"] = "flow"

    def __init__(self) -> None:
        super().__init__()
        self._vessels: list[Vessel] = []

    def check(self, rig: Rig) -> None:
        """Every rig has a flow meter."""

    def enter(self, typed: Typed, rig: Rig) -> str:
        """Take what was typed."""
        entries = Entries(typed)
        reader = amount_reader(entries)
        read = entries.need("amount", lambda text: reader.read(text, "The catch"), "Enter how much was caught.")
        entries.check()
        assert read is not None
        taken = self.guided.enter(read.volume_m3)
        self._vessels = [*self._vessels[: len(self.guided.taken) - 1], read.vessel]
        return f"Taken: {taken.pulses} pulses. Repeat each flow three times, at two or three flows."

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""
        pairs = zip(self.guided.taken, self._vessels, strict=False)
        catches = [MeterCatch(one.pulses, one.amount, vessel, one.duration_s) for one, vessel in pairs]
        result = calibrate_meter(catches)
        return Outcome(
            answers.meter_answer(result, catches, rig.units),
            card_sections.meter_section(result),
            card_sections.meter_record(result, catches),
        )


class PressureSession(_Guided):
    """Pressure transducer: zero with the pump off, then a gauge."""

    what: Literal["flow", "wheel", "pressure"] = "pressure"

    def check(self, rig: Rig) -> None:
        """Whether this rig can be calibrated so."""
        if rig.pressure is None:
            raise UserError("the rig file has no [pressure] section: add the transducer's span to it first.")

    def enter(self, typed: Typed, rig: Rig) -> str:
        """Take what was typed."""
        entries = Entries(typed)
        value = entries.need(
            "gauge", lambda text: parse_quantity(text, "pressure", "The gauge"), "Enter what the gauge showed."
        )
        if value is not None and value < 0:
            entries.sentences["gauge"] = "The gauge cannot show less than nothing: read it again."
        entries.check()
        assert value is not None
        taken = self.guided.enter(value)
        return f"Taken: {taken.mean_counts or 0.0:.1f} counts. Take zero, a middle and the highest pressure."

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""
        assert rig.pressure is not None
        points = [PressurePoint(one.amount, one.mean_counts or 0.0) for one in self.guided.taken]
        result = calibrate_pressure(points, rig.pressure, adc_full_scale, Gauge())
        return Outcome(
            answers.pressure_answer(result, points, adc_full_scale, rig.units),
            card_sections.pressure_section(result),
            card_sections.pressure_record(result, points, adc_full_scale),
        )


class WheelSession(_Guided):
    """Wheel: rolled over one measured course, again and again."""

    what: Literal["flow", "wheel", "pressure"] = "wheel"

    def check(self, rig: Rig) -> None:
        """Whether this rig can be calibrated so."""
        if rig.wheel is None:
            raise UserError("the rig file has no [wheel] section: its pace comes from a timed course; choose Pace.")

    def enter(self, typed: Typed, rig: Rig) -> str:
        """Take what was typed."""
        distance = _course_length(typed, [one.amount for one in self.guided.taken])
        taken = self.guided.enter(distance)
        return f"Taken: {taken.pulses} pulses. Roll it three times at spraying pace."

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""
        pulses = [one.pulses for one in self.guided.taken]
        distance = self.guided.taken[0].amount if pulses else 0.0
        result = calibrate_wheel(distance, pulses)
        per_turn = round(float(tomllib.loads(rig.toml)["wheel"]["pulses_per_turn"]))
        record = card_sections.uncertainty_record(result.uncertainty) | {"course_m": distance, "pulses": pulses}
        return Outcome(
            answers.wheel_answer(result, pulses, per_turn, rig.units),
            card_sections.wheel_section(result, per_turn),
            record | {"remarks": list(result.remarks)},
        )


class CourseSession:
    """Pace without a wheel: times over a measured course."""

    def __init__(self) -> None:
        self.guide: Guide | None = None
        self._passes: list[tuple[float, float]] = []

    def check(self, rig: Rig) -> None:
        """Whether this rig can be calibrated so."""
        if rig.course is None:
            raise UserError("the rig file has no [course] section: its pace comes from the wheel; choose Wheel.")

    def say(self) -> str:
        """What to do next."""
        return "Mark a course, walk it at spraying pace with the tank half full, and enter the time of each pass."

    def count(self) -> int:
        """How many have been entered."""
        return len(self._passes)

    def enter(self, typed: Typed, rig: Rig) -> str:
        """Take what was typed."""
        entries = Entries(typed)
        time = entries.need("time", lambda text: _positive(text, "time", "The time"), "Enter the time of the pass.")
        try:
            distance = _course_length(typed, [one for one, _ in self._passes])
        except WrongEntriesError as wrong:
            entries.sentences |= wrong.sentences
        entries.check()
        assert time is not None
        self._passes.append((distance, time))
        return f"Taken: pass {len(self._passes)}. Walk it three times."

    def undo(self) -> str:
        """One step back."""
        return _undo(self._passes)

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""
        times = [time for _, time in self._passes]
        distance = self._passes[0][0] if self._passes else 0.0
        result = calibrate_course(distance, times)
        record = card_sections.uncertainty_record(result.uncertainty) | {"course_m": distance, "times_s": times}
        return Outcome(
            answers.course_answer(result, times, rig.units),
            card_sections.course_section(result),
            record | {"remarks": list(result.remarks)},
        )


class BoomSession:
    """Catch test of the boom: all nozzles for the same time, at one or more pressures."""

    def __init__(self) -> None:
        self.guide: Guide | None = None
        self._catches: list[tuple[BoomCatch, Vessel]] = []
        self._speed_m_s: float | None = None

    def check(self, rig: Rig) -> None:
        """Every rig has a boom."""

    def say(self) -> str:
        """What to do next."""
        return (
            "Hold one pressure, catch every nozzle for the same time, and enter what each gave; "
            "two pressures tell more."
        )

    def count(self) -> int:
        """How many have been entered."""
        return len(self._catches)

    def enter(self, typed: Typed, rig: Rig) -> str:
        """Take what was typed."""
        entries = Entries(typed)
        reader = amount_reader(entries)
        pressure = entries.need(
            "pressure", lambda text: _positive(text, "pressure", "The pressure"), "Enter what the gauge showed."
        )
        time = entries.need("time", lambda text: _positive(text, "time", "The time"), "Enter how long was caught.")
        speed = entries.read("speed", lambda text: _positive(text, "speed", "The speed"))
        caught = [
            entries.need(
                nozzle_field(number),
                lambda text, number=number: reader.read(text, f"Nozzle {number}"),  # type: ignore[misc]
                f"Enter what nozzle {number} gave.",
            )
            for number in range(1, rig.nozzles.count + 1)
        ]
        if len({one.vessel for one in caught if one is not None} | {vessel for _, vessel in self._catches}) > 1:
            odd = next((n for n, one in enumerate(caught, 1) if one and one.vessel != self._vessel(caught)), 1)
            entries.sentences.setdefault(nozzle_field(odd), "Give either volumes or weights, not both in one test.")
        entries.check()
        volumes = tuple(one.volume_m3 for one in caught if one is not None)
        assert pressure is not None and time is not None
        self._catches.append((BoomCatch(pressure, time, volumes), self._vessel(caught)))
        self._speed_m_s = speed
        return f"Taken: catch {len(self._catches)}, {len(volumes)} nozzles."

    def _vessel(self, caught: list[Amount | None]) -> Vessel:
        """The vessel of this test: that of the first amount."""
        if self._catches:
            return self._catches[0][1]
        return next((one.vessel for one in caught if one is not None), JUG)

    def undo(self) -> str:
        """One step back."""
        return _undo(self._catches)

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""
        speed = self._speed_m_s or (rig.course.speed_m_s if rig.course else None)
        reading = Reading(vessel=self._vessel([]))
        test: BoomTest = catch_test([one for one, _ in self._catches], rig, speed, reading)
        return Outcome(answers.boom_answer(test, rig, speed), {}, dict(card_sections.boom_record(rig, test, reading)))


def nozzle_field(number: int) -> str:
    """Name of the field for what one nozzle gave."""
    return f"nozzle_{number}"


def new_sessions() -> dict[Kind, Session]:
    """One of each kind."""
    return {
        "meter": MeterSession(),
        "boom": BoomSession(),
        "pressure": PressureSession(),
        "wheel": WheelSession(),
        "course": CourseSession(),
    }


def _positive(text: str, kind: str, what: str) -> float:
    value = parse_quantity(text, kind, what)
    if not value > 0:
        raise UserError(f'{what} is "{text}": give one above zero.')
    return value


def _course_length(typed: Typed, before: list[float]) -> float:
    entries = Entries(typed)
    distance = entries.need(
        "distance", lambda text: _positive(text, "length", "The course"), "Enter the length of the course."
    )
    if distance is not None and before and abs(distance / before[0] - 1.0) > 1e-9:
        entries.sentences["distance"] = sentence(
            "all passes of one calibration go over one course: give the length as before, or undo the passes."
        )
    entries.check()
    assert distance is not None
    return distance


def _undo(taken: list[Any]) -> str:
    if not taken:
        raise UserError("there is nothing to undo.")
    taken.pop()
    return f"The last one is dropped; {len(taken)} left."
