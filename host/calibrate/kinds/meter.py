"""Flow meter: catches in a jug or on a balance, a whole tank, or an interval of a run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from host.calibrate.amounts import Amount, AmountReader
from host.calibrate.budget import assumed_messages, budget_measured, budget_section, good_to, short
from host.calibrate.checks import (
    DECIMALS,
    TIMES,
    VOLUMES,
    Slip,
    is_beyond,
    powers,
    question,
    size_of,
)
from host.calibrate.counting import Count
from host.calibrate.kinds.counted import CountedSession, Point
from host.calibrate.kinds.jug import AMOUNT, JUG_FIELDS, READ_THE_JUG, amount_reader, caught
from host.calibrate.kinds.kind import Field, Guided, Job, Kind, Outcome, Way, outcome_of
from host.calibrate.kinds.part import percent_known, rig_percent, signed_percent
from host.calibrate.kinds.runs import RUN_FIELDS, interval_typed
from host.calibrate.meter import SAME_FLOW, MeterCalibration, MeterCatch, calibrate_meter
from host.calibrate.vessels import JUG, KITCHEN_BALANCE, TANK, as_last_told
from host.documents.document import (
    Block,
    Column,
    Document,
    Fact,
    Facts,
    Message,
    Messages,
    Plot,
    Section,
    Series,
    Table,
    column,
    quantity,
)
from host.entries import Entries, above_zero, not_below_zero, read_whole
from host.errors import BadInputError
from host.rig import Rig
from host.units import UNITS, format_value, to_user

_MANY = 300  # pulses: repeats scatter by half a percent and more
_FACTOR = "pulses_per_volume"
# Beyond these a factor is asked about, and their reasons: see CARDS.md.
BESIDE_CARD, BESIDE_RIG_FILE = 0.10, 0.15
_FLOW_SLIPS = (*powers(TIMES, -1), *DECIMALS, *VOLUMES)
FLOW_BEYOND = 2.0  # times the boom's or the pump's highest flow, or below one nozzle's lowest
_PULSES = Field("pulses", "Pulses", "1043", quantity="count")
_FILLED = Field("filled", "Filled", "50 gal", "50 L", quantity="volume")
_LEFT = Field("left", "Left over", "12 gal", "12 L", quantity="volume")
_TIME = Field("time", "Time, if known", "55 s", quantity="time", required=False)
_WAYS = (
    Guided("count", "Measure now", (AMOUNT,)),
    Way(
        "typed",
        "Type in numbers",
        (_PULSES, AMOUNT, _TIME),
        "Enter the pulses that were counted and how much you caught; the time too, if you have it.",
        option="catch",
    ),
    Way(
        "tank",
        "Tank",
        (_FILLED, _LEFT, _PULSES, _TIME),
        "Fill the tank to a mark, spray, read what is left over. One more point, known less well than a jug.",
        option="tank-balance",
    ),
    Way(
        "run",
        "Use a recorded run",
        (*RUN_FIELDS, AMOUNT),
        "Mark the run before and after the catch, while nothing flows. Enter both marks and how much you caught.",
        option="from-run",
    ),
)
_MESSAGES = {
    "ready": "Hold an empty jug under one nozzle, or put a bucket under all; spray off, nothing moving. Start, then "
    "spray.",
    "again": "Empty the jug and put it back. Start, then spray: three catches at each of two flows are best.",
    "running": "Stop spraying when the jug is well filled. Wait until the count stops, then Stop.",
    "stopped": f"{READ_THE_JUG}, and enter how much you caught.",
}


class MeterSession(CountedSession):
    """Catches at one or more flows."""

    what = "flow"
    amount = (AMOUNT,)
    save_word = "Save catch"
    next_word = "Save, start the next"
    messages = _MESSAGES
    pictures = ("jug-hold", "jug-read")

    def __init__(self, job: Job) -> None:
        super().__init__(job)
        self._reader = AmountReader()

    def settle(self, entries: Entries) -> None:
        """How well amounts are read."""
        self._reader = amount_reader(entries)

    def _guided(self, entries: Entries) -> Point:
        amount = caught(entries, self._reader)
        entries.check()
        assert amount is not None
        return _point(self.counting.take(), amount)

    def _typed(self, way: str, entries: Entries) -> Point:
        if way == "run":
            amount = caught(entries, self._reader)
            counted = interval_typed(entries, self.job)
            assert amount is not None
            if not counted.flow_pulses:
                raise BadInputError("nothing flowed in this interval of the run: give other marks.")
            return _point(Count(counted.flow_pulses, counted.flowing_s or None, None), amount)
        amount = _sprayed(entries) if way == "tank" else caught(entries, self._reader)
        pulses = entries.need("pulses", lambda text: read_whole(text, "The pulses"), "Enter the pulses counted.")
        time = entries.read("time", above_zero("time", "The time"))
        entries.check()
        assert amount is not None and pulses is not None
        return _point(Count(pulses, time, None), amount)

    def _saved(self, point: Point) -> str:
        return f"Catch {len(self.taken)} saved: {point.pulses} pulses."

    def _catches(self) -> list[MeterCatch]:
        vessels = as_last_told(one.vessel or JUG for one in self.taken)
        return [
            MeterCatch(one.pulses, one.amount, vessel, one.duration_s)
            for one, vessel in zip(self.taken, vessels, strict=True)
        ]

    def points(self) -> Table:
        """Pulses, volumes and what they were measured with."""
        system = self.job.rig.units
        columns = (
            Column("", "Catch"),
            Column("", "Pulses"),
            Column("", "Caught"),
            Column("", "With"),
        )
        rows = tuple(
            (number, point.pulses, _caught_words(catch, point.typed, system), catch.vessel.name)
            for number, (point, catch) in enumerate(zip(self.taken, self._catches(), strict=True), start=1)
        )
        return Table("", columns, rows)

    def outcome(self) -> Outcome:
        """Factor or curve, with its uncertainty."""
        catches = self._catches()
        result = calibrate_meter(catches)
        document = meter_document(result, catches, [point.typed for point in self.taken], self.job.rig.units)
        questions = meter_questions(result, catches, self.job)
        return outcome_of(document, meter_section(result), meter_measured(result, catches), questions)


def _point(count: Count, amount: Amount) -> Point:
    volume_m3, vessel, typed = amount.volume_m3, amount.vessel, amount.typed
    return Point(count.pulses, count.duration_s, count.mean_counts, volume_m3, vessel, typed)


def _sprayed(entries: Entries) -> Amount | None:
    filled = entries.need("filled", above_zero("volume", "What was filled"), "Enter what was in the tank at first.")
    left = entries.need("left", not_below_zero("volume", "What is left over"), "Enter what is left over, 0 if none.")
    if filled is None or left is None:
        return None
    if not filled > left:
        entries.sentences["left"] = "That leaves nothing sprayed: it must be less than was filled."
        return None
    # Two marks are read, filled and left over: their steps add as squares.
    return Amount(filled - left, replace(TANK, step_m3=TANK.step_m3 * 2**0.5))


def _caught_words(catch: MeterCatch, typed: str, system: str) -> str:
    """What was caught as it was typed, so that a slip shows; what was worked out of it, in the rig's units."""
    volume = quantity(catch.volume_m3, "volume", system, decimals=3).text
    weighed = catch.vessel.name == KITCHEN_BALANCE.name
    return f"{typed} ({volume})" if typed and weighed else typed or volume


def meter_document(
    result: MeterCalibration, catches: Sequence[MeterCatch], typed: Sequence[str], system: str
) -> Document:
    """The result as it is told: factor or curve, each catch against it, what to look at, the uncertainty.

    `typed` has the amount of each catch as it was typed.
    """
    levels = [quantity(factor, _FACTOR, system) for _, factor in result.curve]
    if len(levels) == 1:
        known = levels[0].text
    else:
        pairs = zip(levels, result.curve, strict=True)
        known = ", ".join(f"{level.text} at {hz:.0f} Hz" for level, (hz, _) in pairs)
    remarks = [Message(text) for text in result.remarks[len(result.outliers) :]]  # those of outliers are questions
    remarks += assumed_messages(result.uncertainty)
    table = _catch_table(result, catches, typed, system)
    sections = (
        Section("", "", (*_tested(result, system), table, Messages(tuple(remarks)))),
        Section("", "", (_plot(result, catches, system),)),
        budget_section(result.uncertainty, "fraction", system),
    )
    good = good_to(result.uncertainty, "fraction", system)
    return Document("meter", "Flow meter", f"{known}, good to {good}", sections)


def meter_questions(result: MeterCalibration, catches: Sequence[MeterCatch], job: Job) -> list[str]:
    """What is odd about the factor, beside the one in use, and about the catches."""
    rig, system = job.rig, job.rig.units
    asked = list(result.remarks[: len(result.outliers)])
    frequency = sum(result.range_hz) / 2 if result.range_hz else 0.0
    now = float(result.meter().pulses_per_m3(frequency))
    before = float(rig.meter.pulses_per_m3(frequency))
    slips = (
        *powers(VOLUMES, -1),
        *DECIMALS,
        Slip(rig.nozzles.count, f"only one of {rig.nozzles.count} nozzles caught"),
    )
    if is_beyond(now / before, BESIDE_CARD if job.has_card("meter") else BESIDE_RIG_FILE):
        numbers = (format_value(now, _FACTOR, system), format_value(before, _FACTOR, system))
        statement = (
            f"{numbers[0]}, {size_of(now / before, 'more', 'fewer')} than the {numbers[1]} of {job.source('meter')}"
        )
        asked.append(question(statement, now / before, slips))
    else:
        asked += _odd_flows(catches, rig)
    if len(catches) == 1:
        asked.append("There is only one catch, so a slip in it would go unnoticed: catch once more.")
    return [*asked, *_typed_twice(catches)]


def _typed_twice(catches: Sequence[MeterCatch]) -> list[str]:
    """Catches that are the same to the last digit: of so many pulses that chance hardly makes them so."""
    seen: dict[MeterCatch, int] = {}
    for number, catch in enumerate(catches, start=1):
        if catch.pulses >= _MANY and catch in seen:
            return [
                f"Catches {seen[catch]} and {number} are the same to the last digit: a catch that is typed twice is no "
                "second one. Take one of them out, or catch once more."
            ]
        seen.setdefault(catch, number)
    return []


def _odd_flows(catches: Sequence[MeterCatch], rig: Rig) -> list[str]:
    """Catches that ran faster than the sprayer can, or slower than one nozzle does: their time or amount is wrong."""
    nozzles, pump = rig.nozzles, rig.pump
    lowest = float(nozzles.flow_m3_s(nozzles.min_pressure_pa or nozzles.points[0][0])) / FLOW_BEYOND
    boom = nozzles.count * float(nozzles.flow_m3_s(nozzles.highest_stated_pa))
    highest = FLOW_BEYOND * max(boom, pump.highest_flow_m3_s if pump else 0.0)
    for number, catch in enumerate(catches, start=1):
        flow = catch.volume_m3 / catch.duration_s if catch.duration_s else lowest
        if not lowest <= flow <= highest:
            shown, usual = (format_value(one, "flow", rig.units) for one in (flow, boom))
            possible = [slip.name for slip in _FLOW_SLIPS if lowest <= flow / slip.ratio <= highest]
            what = f"{possible[0]}?" if possible else "check time and amount."
            return [f"Catch {number} ran at {shown}, and the whole boom gives {usual}: {what}"]
    return []


def _tested(result: MeterCalibration, system: str) -> tuple[Block, ...]:
    """The factor for machines, as a curve in any case; where it was tested."""
    curve = Table(
        "curve",
        (Column("frequency", ""), Column("factor", "")),
        tuple((quantity(hz, "frequency", system), quantity(k, _FACTOR, system)) for hz, k in result.curve),
    )
    if result.range_hz is None:
        return (curve,)
    low, high = (quantity(hz, "frequency", system) for hz in result.range_hz)
    one_flow = result.range_hz[1] < SAME_FLOW * result.range_hz[0]
    at = f"{low.text} only" if one_flow else f"{low.number} to {high.text}"
    return curve, Facts((Fact("", "Tested at", at), Fact("lowest", "", low), Fact("highest", "", high)), "tested")


def _catch_table(result: MeterCalibration, catches: Sequence[MeterCatch], typed: Sequence[str], system: str) -> Table:
    columns = (
        Column("catch", "Catch"),
        Column("pulses", "Pulses"),
        Column("volume", ""),
        Column("", "Caught"),
        Column("off", "Off by", "%"),
        column("frequency", "Flow", "frequency", system),
        column("factor", "Factor", _FACTOR, system),
        Column("outlier", ""),
    )
    rows = tuple(
        (
            number + 1,
            catch.pulses,
            quantity(catch.volume_m3, "volume", system, decimals=3),
            _caught_words(catch, words, system),
            signed_percent(residual, 2),
            quantity(catch.frequency_hz, "frequency", system),
            quantity(catch.factor, _FACTOR, system),
            number in result.outliers,
        )
        for number, (catch, residual, words) in enumerate(zip(catches, result.residuals, typed, strict=True))
    )
    return Table("catches", columns, rows, marked=frozenset(result.outliers))


def _plot(result: MeterCalibration, catches: Sequence[MeterCatch], system: str) -> Plot:
    """The catches beside what was fitted to them, over the flow where it is known of all."""
    timed = all(catch.frequency_hz is not None for catch in catches)
    at = [catch.frequency_hz or 0.0 for catch in catches] if timed else [float(n + 1) for n in range(len(catches))]
    dots = tuple((x, to_user(catch.factor, _FACTOR, system)) for x, catch in zip(at, catches, strict=True))
    left, right = (0.9 * min(at), 1.1 * max(at)) if timed else (0.5, len(at) + 0.5)
    ends = [point[0] for point in result.curve] if len(result.curve) > 1 else [left, right]
    factors = [k for _, k in result.curve] if len(result.curve) > 1 else [result.curve[0][1]] * 2
    fitted = tuple((hz, to_user(k, _FACTOR, system)) for hz, k in zip(ends, factors, strict=True))
    level, spread = to_user(result.curve[0][1], _FACTOR, system), result.uncertainty.expanded
    return Plot(
        "catches",
        "Catches and the factor fitted to them",
        "Flow, Hz" if timed else "Catch",
        UNITS[system][_FACTOR].symbol,
        (Series(dots, "catch", "dots"), Series(fitted, "factor")),
        band=(level * (1 - spread), level * (1 + spread)) if len(result.curve) == 1 else None,
        x_range=(left, right),
    )


def meter_section(result: MeterCalibration) -> dict[str, Any]:
    """Section [meter] of the rig."""
    section: dict[str, Any] = {"uncertainty": rig_percent(result.uncertainty.carried)}
    if result.range_hz is not None:
        low, high = result.range_hz
        section["caught"] = [f"{0.999 * low:.7g} Hz", f"{1.001 * high:.7g} Hz"]
    if len(result.curve) == 1:
        return {"factor": f"{result.curve[0][1] / 1e3:.7g} pulses/L"} | section
    return {"curve": [[f"{hz:.7g} Hz", f"{k / 1e3:.7g} pulses/L"] for hz, k in result.curve]} | section


def meter_measured(result: MeterCalibration, catches: Sequence[MeterCatch]) -> dict[str, Any]:
    """What was caught and what came of it, for the card."""
    rows = []
    for catch, residual in zip(catches, result.residuals, strict=True):
        row = {"pulses": catch.pulses, "volume_L": short(catch.volume_m3 * 1e3), "with": catch.vessel.name}
        if catch.duration_s is not None:
            row["time_s"] = short(catch.duration_s)
        rows.append(row | {"residual_percent": round(100 * residual, 4)})
    measured = budget_measured(result.uncertainty) | {"remarks": list(result.remarks)}
    if result.range_hz is not None:
        measured["tested_from_to_hz"] = [short(hz) for hz in result.range_hz]
    return measured | {"catches": rows}


KIND = Kind(
    name="meter",
    title="Flow meter",
    summary="pulses against caught volume or weight",
    ways=_WAYS,
    settings=JUG_FIELDS,
    session=MeterSession,
    plus_minus=percent_known("meter"),
)
