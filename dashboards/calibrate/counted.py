"""Flow meter, transducer and wheel: what the board counts, live or in a recorded run, or what is typed in by hand."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Literal

from dashboards.calibrate import answers
from dashboards.calibrate.amounts import amount_reader
from dashboards.calibrate.answers import Rows
from dashboards.calibrate.sessions import COUNT, RUN, TANK, TYPED, Outcome, Stand, Typed, one_course
from firmware_protocol.messages import Report
from host.calibrate import card_sections
from host.calibrate.amounts import Amount
from host.calibrate.drafts import Draft, taken_of, taken_rows
from host.calibrate.guide import CAUTIONS, Guide, Taken
from host.calibrate.interval import Stretch
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.transducer import PressurePoint, calibrate_pressure
from host.calibrate.travel import calibrate_wheel
from host.calibrate.vessels import JUG, Gauge
from host.calibrate.vessels import TANK as TANK_MARKS
from host.entries import Entries, WrongEntriesError, above_zero, not_below_zero, read_count, read_whole, sentence
from host.errors import UserError
from host.rig import Rig
from host.units import parse_quantity

# Counts between two moments of a run: name of the run, from, to. Raises UserError.
Stretches = Callable[[str, str, str], Stretch]


class Counted:
    """What the three have in common: everything that was taken is in the guide."""

    what: Literal["flow", "wheel", "pressure"]
    ways: Mapping[str, str]
    says: Mapping[str, str]
    cautions = CAUTIONS

    def __init__(self) -> None:
        self.guide = Guide(self.what)

    def watch(self, report: Report, adc_full_scale: float) -> None:
        """Take a report of the board."""
        self.guide.watch(report)

    def running(self) -> bool:
        """Whether the board is counting for it."""
        return self.guide.step == "running"

    def stand(self, way: str) -> Stand:
        """How things stand."""
        if way != COUNT:
            return Stand(self.says[way], group=way, enter="Enter")
        guide = self.guide
        counted, about = self._live()
        if guide.step == "amount":
            return Stand(guide.say(), group=COUNT, enter="Enter", counted=counted, about=about)
        act = "End" if self.running() else "Begin"
        return Stand(guide.say(), act, counted=counted, about=about, by_board=True)

    def _live(self) -> tuple[str, str]:
        """What is counted, and what that is."""
        guide = self.guide
        if guide.step == "ready":
            return "", ""
        live = guide.live()
        if self.what == "pressure":
            mean = "–" if live.mean_counts is None else f"{live.mean_counts:.1f}"
            return mean, "counts, mean since it began"
        hertz = "" if live.frequency_hz is None else f", {live.frequency_hz:.1f} Hz"
        return str(live.pulses), f"pulses{hertz}"

    def settle(self, typed: Typed) -> None:
        """Nothing holds for the whole calibration."""

    def act(self, typed: Typed) -> str:
        """Begin or end counting."""
        if self.guide.step == "ready":
            self.guide.begin()
            return "Counting."
        self.guide.end()
        return ""

    def enter(self, way: str, typed: Typed, rig: Rig) -> str:
        """Take what was typed; pulses come from the board, from a run, or are typed as well."""
        entries = Entries(typed)
        said = self._counted(entries) if way == COUNT else self._other(way, entries)
        return f"{said} {self.advice}"

    advice = ""

    @abstractmethod
    def _counted(self, entries: Entries) -> str:
        """The amount that belongs to what the board has counted."""

    @abstractmethod
    def _other(self, way: str, entries: Entries) -> str:
        """A point with its pulses or counts."""

    def can_undo(self) -> bool:
        """Whether anything was begun or taken."""
        return bool(self.guide.taken) or self.guide.step != "ready"

    def undo(self, number: int | None) -> str:
        """One step back, or drop one."""
        return self.guide.undo(number)

    def rows(self) -> list[dict[str, Any]]:
        """For the draft."""
        return taken_rows(self.guide.taken)

    def restore(self, draft: Draft) -> None:
        """From a draft."""
        self.guide.taken = taken_of(draft)

    def whole(self) -> None:
        """Whether nothing is half taken."""
        if self.guide.step != "ready":
            raise UserError("one is still begun: end and enter it, or undo, before you save.")


class MeterSession(Counted):
    """Flow meter: catches in a jug or on a balance, and the balance of a tank."""

    what: Literal["flow", "wheel", "pressure"] = "flow"
    ways: Mapping[str, str] = {COUNT: "Count now", TYPED: "Typed in", TANK: "Tank", RUN: "From a run"}
    says: Mapping[str, str] = {
        TYPED: "Enter the pulses that were counted and what was caught; the time too, if you have it.",
        TANK: "Fill the tank to a mark, spray, read what is left over. One more point, known less well than a jug.",
        RUN: "Mark the run before and after the catch, while nothing flows. Enter both marks and what was caught.",
    }
    advice = "Repeat each flow three times, at two or three flows."

    def __init__(self, stretches: Stretches) -> None:
        super().__init__()
        self._stretches = stretches

    def check(self, rig: Rig) -> None:
        """Every rig has a flow meter."""

    def _counted(self, entries: Entries) -> str:
        amount = _caught(entries)
        entries.check()
        assert amount is not None
        taken = self.guide.enter(amount.volume_m3, amount.vessel)
        return f"Taken: {taken.pulses} pulses."

    def _other(self, way: str, entries: Entries) -> str:
        if way == RUN:
            amount = _caught(entries)
            counted = _stretch(entries, self._stretches)
            assert amount is not None
            taken = Taken(counted.flow_pulses, counted.flowing_s or None, None, amount.volume_m3, amount.vessel)
        else:
            amount = _sprayed(entries) if way == TANK else _caught(entries)
            pulses = entries.need("pulses", lambda text: read_whole(text, "The pulses"), "Enter the pulses counted.")
            time = entries.read("time", above_zero("time", "The time"))
            entries.check()
            assert amount is not None and pulses is not None
            taken = Taken(pulses, time, None, amount.volume_m3, amount.vessel)
        if not taken.pulses:
            raise UserError("nothing flowed in this stretch of the run: give other marks.")
        self.guide.taken.append(taken)
        return f"Taken: {taken.pulses} pulses."

    def taken(self, rig: Rig) -> Rows | None:
        """Pulses and volumes."""
        return answers.meter_taken(self._catches(), rig.units) if self.guide.taken else None

    def _catches(self) -> list[MeterCatch]:
        return [MeterCatch(one.pulses, one.amount, one.vessel or JUG, one.duration_s) for one in self.guide.taken]

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""
        catches = self._catches()
        result = calibrate_meter(catches)
        return Outcome(
            answers.meter_answer(result, catches, rig.units),
            card_sections.meter_section(result),
            card_sections.meter_record(result, catches),
        )


class PressureSession(Counted):
    """Pressure transducer: zero with the pump off, then a gauge."""

    what: Literal["flow", "wheel", "pressure"] = "pressure"
    ways: Mapping[str, str] = {COUNT: "Count now", TYPED: "Typed in"}
    says: Mapping[str, str] = {TYPED: "Enter what the gauge showed, zero for the pump off, and the counts at that."}
    advice = "Take zero, a middle and the highest pressure."

    def __init__(self) -> None:
        super().__init__()
        self._gauge = Gauge()

    def check(self, rig: Rig) -> None:
        """Whether this rig can be calibrated so."""
        if rig.pressure is None:
            raise UserError("the rig file has no [pressure] section: add the transducer's span to it first.")

    def settle(self, typed: Typed) -> None:
        """How finely the gauge is read, and how far it may be off."""
        entries = Entries(typed)
        step = entries.read("gauge_step", not_below_zero("pressure", "The gauge's step"))
        accuracy = entries.read("gauge_accuracy", not_below_zero("pressure", "The gauge's accuracy"))
        entries.check()
        usual = Gauge()
        self._gauge = replace(
            usual,
            step_pa=usual.step_pa if step is None else step,
            accuracy_pa=usual.accuracy_pa if accuracy is None else accuracy,
        )

    def _counted(self, entries: Entries) -> str:
        value = _gauge(entries)
        entries.check()
        assert value is not None
        return f"Taken: {self.guide.enter(value).mean_counts or 0.0:.1f} counts."

    def _other(self, way: str, entries: Entries) -> str:
        value = _gauge(entries)
        counts = entries.need("counts", lambda text: read_count(text, "The counts"), "Enter the counts.")
        entries.check()
        assert value is not None and counts is not None
        self.guide.taken.append(Taken(0, None, counts, value))
        return f"Taken: {counts:.1f} counts."

    def taken(self, rig: Rig) -> Rows | None:
        """Pressures and counts."""
        return answers.pressure_taken(self._points(), rig.units) if self.guide.taken else None

    def _points(self) -> list[PressurePoint]:
        return [PressurePoint(one.amount, one.mean_counts or 0.0) for one in self.guide.taken]

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""
        assert rig.pressure is not None
        points = self._points()
        result = calibrate_pressure(points, rig.pressure, adc_full_scale, self._gauge)
        return Outcome(
            answers.pressure_answer(result, points, adc_full_scale, rig.units),
            card_sections.pressure_section(result),
            card_sections.pressure_record(result, points, adc_full_scale),
        )


class WheelSession(Counted):
    """Wheel: rolled over one measured course, again and again."""

    what: Literal["flow", "wheel", "pressure"] = "wheel"
    ways: Mapping[str, str] = {COUNT: "Count now", TYPED: "Typed in", RUN: "From a run"}
    says: Mapping[str, str] = {
        TYPED: "Enter the length of the course and the pulses of one pass.",
        RUN: "Mark the run at both ends of the course. Enter both marks and the length of the course.",
    }
    advice = "Roll it three times at spraying pace."

    def __init__(self, stretches: Stretches) -> None:
        super().__init__()
        self._stretches = stretches

    def check(self, rig: Rig) -> None:
        """Whether this rig can be calibrated so."""
        if rig.wheel is None:
            raise UserError("the rig file has no [wheel] section: its pace comes from a timed course; choose Pace.")

    def _counted(self, entries: Entries) -> str:
        distance = one_course(entries, self._before())
        entries.check()
        assert distance is not None
        return f"Taken: {self.guide.enter(distance).pulses} pulses."

    def _other(self, way: str, entries: Entries) -> str:
        distance = one_course(entries, self._before())
        if way == RUN:
            pulses: int | None = _stretch(entries, self._stretches).wheel_pulses
        else:
            pulses = entries.need("pulses", lambda text: read_whole(text, "The pulses"), "Enter the pulses counted.")
            entries.check()
        assert distance is not None and pulses is not None
        if not pulses:
            raise UserError("the wheel did not turn in this stretch of the run: give other marks.")
        self.guide.taken.append(Taken(pulses, None, None, distance))
        return f"Taken: {pulses} pulses."

    def _before(self) -> float | None:
        return self.guide.taken[0].amount if self.guide.taken else None

    def taken(self, rig: Rig) -> Rows | None:
        """Pulses of the passes."""
        return answers.passes_taken("Pulses", [str(one.pulses) for one in self.guide.taken])

    def outcome(self, rig: Rig, adc_full_scale: float) -> Outcome:
        """What has come of it so far."""
        pulses = [one.pulses for one in self.guide.taken]
        distance = self._before() or 0.0
        assert rig.wheel is not None
        result = calibrate_wheel(distance, pulses)
        per_turn = rig.wheel.pulses_per_turn
        record = card_sections.uncertainty_record(result.uncertainty) | {"course_m": distance, "pulses": pulses}
        return Outcome(
            answers.wheel_answer(result, pulses, per_turn, rig.units),
            card_sections.wheel_section(result, per_turn),
            record | {"remarks": list(result.remarks)},
        )


def _caught(entries: Entries) -> Amount | None:
    reader = amount_reader(entries)
    return entries.need("amount", lambda text: reader.read(text, "The catch"), "Enter how much was caught.")


def _sprayed(entries: Entries) -> Amount | None:
    filled = entries.need("filled", above_zero("volume", "What was filled"), "Enter what was in the tank at first.")
    left = entries.need(
        "left", lambda text: parse_quantity(text, "volume", "What is left over"), "Enter what is left over, 0 if none."
    )
    if filled is None or left is None:
        return None
    if not filled > left >= 0:
        entries.sentences["left"] = "That leaves nothing sprayed: it must be zero or more, and less than was filled."
        return None
    # Two marks are read, filled and left over: their steps add as squares.
    return Amount(filled - left, replace(TANK_MARKS, step_m3=TANK_MARKS.step_m3 * 2**0.5))


def _stretch(entries: Entries, stretches: Stretches) -> Stretch:
    """The counts of the fields "run", "start" and "end"; a mistake in them is said below the first mark."""
    run = entries.read("run", str) or ""
    start = entries.need("start", str, "Enter the mark, or the second, where it begins.")
    end = entries.need("end", str, "Enter the mark, or the second, where it ends.")
    entries.check()
    assert start is not None and end is not None
    try:
        return stretches(run, start, end)
    except UserError as error:
        raise WrongEntriesError({"start": sentence(str(error))}) from None


def _gauge(entries: Entries) -> float | None:
    return entries.need("gauge", not_below_zero("pressure", "The gauge"), "Enter what the gauge showed.")
