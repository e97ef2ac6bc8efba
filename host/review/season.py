"""A season of one rig: what changed, when, and what the data can and cannot tell apart.

Three series, each a ratio that the pressure knob and the pace do not move, or named as one that they do:

- the boom's orifice coefficient Q/√P: nozzles and meter both move it;
- metered volume over what left the tank by its marks: the meter alone moves it;
- pressure: strainer, pump, battery and the hand on the knob move it, nozzles and meter hardly do.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from host.calibrate.boom import WORN_OVER
from host.calibrate.uncertainty import student_factor
from host.documents.words import percent, plural
from host.pipeline.columns import Floats
from host.review.digest import Digest
from host.review.lone import Finding, LoneRun, lone_findings
from host.review.trend import Stretch, lone_runs, scatter_of, stretches
from host.review.weighing import weigh_step

WEAR, CLOGGING, METER_STEP, METER_DRIFT = "nozzles wear", "nozzles clog", "meter changed", "meter drifts"
NOZZLE_STEP, UNCLEAR_STEP, UNCLEAR_DRIFT = "nozzles changed", "meter or nozzles changed", "meter or nozzles drift"
STRAINER, TANK_ONLY = "strainer filled", "tank balance changed"

_LEVEL = 0.99
_SURE = 2.58  # standard uncertainties: 99 % of a normal distribution
_EXPANDED = 2.0  # coverage factor of what is shown
_SAME_TIME_RUNS = 3  # two series step together when their dates are at most so many runs apart
_PRESSURE_DOWN = 0.05  # a fall by less is no filling strainer
_LONE_BOOM, _LONE_TANK = 0.02, 0.05  # a single run that stands out by less is scatter
_DAY_S = 86_400.0
_FAR_DAYS = 3650.0
_LEAST_DRIFT = 0.003  # less matters to nobody, however surely it is there
_NOZZLES, _METER, _UNCLEAR = "nozzles", "meter", "unclear"


@dataclass(frozen=True)
class Series:
    """One quantity over the season: days since the first run, its values, and the stretches of its logarithm."""

    dates: tuple[str, ...]
    days: Floats
    values: Floats
    stretches: tuple[Stretch, ...]

    def steps(self) -> list[tuple[int, float, float]]:
        """(first run behind it, relative step, its standard uncertainty) of every step that is one at 99 %."""
        found = []
        for before, after in itertools.pairwise(self.stretches):
            gap = float(self.days[after.first] - self.days[before.last])
            size = after.begin - (before.end + before.slope * gap)
            u = math.hypot(after.begin_u, before.end_u)
            if abs(size) > student_factor(_LEVEL, max(after.degrees, 1)) * u:
                found.append((after.first, math.expm1(size), u))
        return found

    def slope(self) -> tuple[float, float]:
        """The slope that all stretches share, 1/day, and its standard error: weighted by their certainty."""
        weights = [1.0 / one.slope_u**2 for one in self.stretches if one.slope_u > 0]
        if not weights:
            return 0.0, math.inf
        slopes = [one.slope for one in self.stretches if one.slope_u > 0]
        return float(np.average(slopes, weights=weights)), 1.0 / math.sqrt(math.fsum(weights))

    def logs_between(self, first: str, end: str, *, last: bool) -> Floats:
        """Logarithms of the values from one day to another, that day included or not."""
        inside = [first <= date and (date <= end if last else date < end) for date in self.dates]
        return np.asarray(np.log(self.values[inside]), dtype=np.float64)

    def of(self, stretches: Sequence[Stretch]) -> Series:
        """The part that these neighbouring stretches cover."""
        here = slice(stretches[0].first, stretches[-1].last + 1)
        return Series(self.dates[here], self.days[here], self.values[here], tuple(stretches))

    def between(self, first: str, last: str) -> Series:
        """The part from one day to another, cut anew."""
        here = [first <= date <= last for date in self.dates]
        days, values = self.days[here], self.values[here]
        dates = tuple(date for date, inside in zip(self.dates, here, strict=True) if inside)
        return Series(dates, days, values, tuple(stretches(days, np.log(values))))


@dataclass(frozen=True)
class Season:
    """What was looked at, what was found in order of its beginning, when to calibrate, and what cannot be told."""

    rig: str
    runs: int
    coefficient: Series
    balance: Series
    pressure: Series
    findings: tuple[Finding, ...]
    due: str
    remarks: tuple[str, ...]


def season_of(digests: Sequence[Digest]) -> Season:
    """Compare the runs of the newest run's rig with each other. Runs without a date or steady spraying are left out."""
    rig = next((one.rig for one in reversed(digests) if one.started), "")
    mine = sorted((one for one in digests if one.rig == rig and one.started), key=lambda one: _time(one.started))
    coefficient, lone = _series([(one, one.steady.coefficient) for one in mine if one.steady], _LONE_BOOM)
    pressure, _ = _series([(one, one.steady.pressure_pa) for one in mine if one.steady], math.inf)
    balance, tank = _series([(one, one.meter_over_tank) for one in mine if one.meter_over_tank], _LONE_TANK)
    changes = _steps(coefficient, balance) + _drift(coefficient, balance) + _strainer(pressure, coefficient)
    findings = changes + lone_findings(lone, tank)
    return Season(
        rig,
        len(mine),
        coefficient,
        balance,
        pressure,
        tuple(sorted(findings, key=lambda one: (one.first_day, one.kind))),
        _due(mine, coefficient, findings),
        tuple(_remarks(digests, mine, coefficient, balance)),
    )


def _time(started: str) -> float:
    return datetime.fromisoformat(started).timestamp()


def _series(points: Sequence[tuple[Digest, float | None]], least: float) -> tuple[Series, list[LoneRun]]:
    """The series of those with a value, and apart from it those that stand out alone, by more than `least`."""
    known = [(one, value) for one, value in points if value is not None and value > 0]
    logs = np.log(np.array([value for _, value in known], dtype=np.float64))
    out = lone_runs(logs, least)
    lone = [LoneRun(known[place][0], _beside(logs, out, place), scatter_of(np.delete(logs, out))) for place in out]
    known = [point for place, point in enumerate(known) if place not in out]
    times = np.array([_time(one.started) for one, _ in known]) / _DAY_S
    values = np.array([value for _, value in known])
    days = times - times[0] if len(times) else times
    dates = tuple(one.date for one, _ in known)
    return Series(dates, days, values, tuple(stretches(days, np.log(values)))), lone


def _beside(logs: Floats, out: Sequence[int], place: int) -> float:
    """How far a place stands from the runs beside it that do not stand out themselves, as a logarithm."""
    others = [other for other in range(len(logs)) if other not in out]
    near = sorted(others, key=lambda other: abs(other - place))[:6]
    return float(logs[place] - np.median(logs[near]))


def _steps(coefficient: Series, balance: Series) -> list[Finding]:
    findings = []
    metered = balance.steps()
    matched: set[int] = set()
    steps = coefficient.steps()
    edges = [0, *(run for run, _, _ in steps), len(coefficient.dates)]
    for (run, size, u), begin, end in zip(steps, edges, edges[2:], strict=False):
        day = coefficient.dates[run]
        # By their days: the balance may lack some runs.
        near = [step for step in metered if _runs_apart(coefficient, day, balance.dates[step[0]]) <= _SAME_TIME_RUNS]
        words = f"from {day} on flow at the same pressure reads {percent(abs(size), 1)} ± {percent(_EXPANDED * u, 1)} "
        words += "higher" if size > 0 else "lower"
        before = balance.logs_between(coefficient.dates[begin], day, last=False)
        after = balance.logs_between(day, coefficient.dates[end - 1], last=True)
        weighed = weigh_step(math.log1p(size), u, before, after)
        if not weighed.nozzles:
            matched |= {step[0] for step in near if step[1] * size > 0}
        if weighed.meter:
            kind, told = (
                METER_STEP,
                f"the tank balance moves with it, so it is the meter ({weighed.words}): calibrate it",
            )
        elif weighed.nozzles:
            kind = NOZZLE_STEP
            told = f"the tank balance does not move with it ({weighed.words}): cleaned, changed or clogged"
        else:
            kind = UNCLEAR_STEP
            told = f"the tank balances cannot tell meter from nozzles ({weighed.words}); what would: {weighed.decides}"
        findings.append(Finding(kind, day, day, size, u, f"{words}; {told}"))
    for run, size, u in metered:
        if run not in matched:
            day = balance.dates[run]
            words = f"from {day} on the meter reads {percent(abs(size), 1)} ± {percent(_EXPANDED * u, 1)} "
            words += f"{'more' if size > 0 else 'less'} against the tank, though flow at the same pressure does not "
            words += "show it: look at how the tank is read, for an unrecorded refill, or for meter and nozzles "
            words += "changing against each other"
            findings.append(Finding(TANK_ONLY, day, day, size, u, words))
    return findings


def _runs_apart(series: Series, day: str, other: str) -> int:
    low, high = sorted((day, other))
    return sum(low < date <= high for date in series.dates)


@dataclass(frozen=True)
class _Drift:
    """Nozzles, meter, or one of them drifting at one rate since a day; `rate` in 1/day."""

    since: str
    since_day: float
    rate: float
    rate_u: float

    def until(self, whose: str, date: str, day: float, *, alone: bool) -> list[Finding]:
        """What that came to by a day; nothing when the rate may be none."""
        span = day - self.since_day
        if abs(self.rate) <= _SURE * self.rate_u or abs(self.rate) * span < _LEAST_DRIFT:
            return []
        rises = self.rate > 0
        kind, told = {
            _NOZZLES: (
                WEAR if rises else CLOGGING,
                "the tank balance does not go with it, so it is the nozzles: "
                + ("they wear" if rises else "they or their strainers fill up"),
            ),
            _METER: (METER_DRIFT, "the tank balance goes with it, so it is the meter: calibrate it"),
            _UNCLEAR: (
                UNCLEAR_DRIFT,
                "nozzles or meter: the tank balances cannot tell them apart; a catch test can",
            ),
        }[whose]
        size, u = math.expm1(self.rate * span), self.rate_u * span
        words = f"from {self.since} to {date} flow at the same pressure {'rose' if rises else 'fell'} by "
        words += f"{percent(abs(size), 1)} ± {percent(_EXPANDED * u, 1)} little by little"
        words += "" if alone else ", what else drifted meanwhile taken out"
        return [Finding(kind, self.since, date, size, u, f"{words}; {told}")]


def _drift(coefficient: Series, balance: Series) -> list[Finding]:
    """What went little by little, part by part of the season; a part begins where the coefficient goes another way.

    One thing at a time is taken to change: a bend of the coefficient is the meter's when the tank balance bends with
    it, and what drifted before drifts on.
    """
    findings: list[Finding] = []
    drifting: dict[str, _Drift] = {}
    slope = slope_u = meter = meter_u = 0.0
    for part in _parts(coefficient):
        date, day = part.dates[0], float(part.days[0])
        old, old_u, old_meter, old_meter_u = slope, slope_u, meter, meter_u
        slope, slope_u = part.slope()
        meter, meter_u = balance.between(date, part.dates[-1]).slope()
        bend, bend_u = slope - old, math.hypot(slope_u, old_u)
        if abs(bend) <= student_factor(_LEVEL, max(part.stretches[0].degrees, 1)) * bend_u:
            continue
        whose = _whose(bend, bend_u, meter - old_meter, math.hypot(meter_u, old_meter_u))
        if whose in drifting:
            findings += drifting[whose].until(whose, date, day, alone=len(drifting) == 1)
        others = [one for key, one in drifting.items() if key != whose]
        rate = slope - math.fsum(one.rate for one in others)
        drifting[whose] = _Drift(date, day, rate, math.hypot(slope_u, *(one.rate_u for one in others)))
    for whose, one in drifting.items():
        findings += one.until(whose, coefficient.dates[-1], float(coefficient.days[-1]), alone=len(drifting) == 1)
    return findings


def _parts(series: Series) -> list[Series]:
    """The series cut where its slope changes; steps alone leave it whole."""
    groups: list[list[Stretch]] = []
    for one in series.stretches:
        before = groups[-1][-1] if groups else None
        if before and abs(one.slope - before.slope) <= _SURE * math.hypot(one.slope_u, before.slope_u):
            groups[-1].append(one)
        else:
            groups.append([one])
    return [series.of(group) for group in groups]


def _whose(bend: float, bend_u: float, meter: float, meter_u: float) -> str:
    """Whose a change of the coefficient's slope is, by what the tank balance's slope does."""
    apart = abs(bend - meter) > _SURE * math.hypot(bend_u, meter_u)
    moves = abs(meter) > _SURE * meter_u
    return _UNCLEAR if apart == moves else _METER if moves else _NOZZLES


def _strainer(pressure: Series, coefficient: Series) -> list[Finding]:
    """Pressure that falls from run to run, at an unchanged boom."""
    findings = []
    recoveries = [run for run, size, _ in pressure.steps() if size > _PRESSURE_DOWN]
    turned = {coefficient.dates[run] for run, _, _ in coefficient.steps()}
    begin = 0
    for end in [*recoveries, len(pressure.values)]:
        found = _fall(pressure, begin, end)
        if found is not None and pressure.dates[min(end, len(pressure.dates) - 1)] not in turned:
            start, depth, u = found
            first, last = pressure.dates[start], pressure.dates[end - 1]
            over = f"and was back on {pressure.dates[end]}" if end < len(pressure.values) else "and has not come back"
            findings.append(
                Finding(
                    STRAINER,
                    first,
                    last,
                    depth,
                    u,
                    f"from {first} to {last} the pressure fell by {percent(-depth)} from run to run {over}, "
                    "with nozzles and meter unmoved: a strainer before the pump filled up; a tired battery, a worn "
                    "pump, or the knob turned down bit by bit would look the same to a single transducer",
                )
            )
        begin = end
    return findings


def _fall(pressure: Series, begin: int, end: int) -> tuple[int, float, float] | None:
    """Where a gradual fall before run `end` began, its depth (negative fraction) and uncertainty; else None."""
    logs = np.log(pressure.values)
    here = [one for one in pressure.stretches if begin <= one.first and one.last < end]
    falling = [one for one in here if one.slope < 0 and one.slopes()]
    if not falling:
        return None
    level = float(np.median(logs[begin : begin + 4]))
    last = falling[-1]
    depth = math.expm1(last.end - level)
    if math.expm1(math.fsum(one.change for one in falling)) > -_PRESSURE_DOWN:
        return None  # it fell at once: the knob
    if depth > -_PRESSURE_DOWN:
        return None
    # The beginning: behind the last run that was still at the level.
    at_level = np.flatnonzero(logs[begin : last.last + 1] >= level + math.log1p(-_PRESSURE_DOWN / 2)) + begin
    start = int(at_level[-1]) + 1 if len(at_level) else begin
    if start > last.last:  # the newest run is at the level again: nothing fills up
        return None
    return start, depth, last.end_u


def _due(mine: list[Digest], coefficient: Series, findings: list[Finding]) -> str:
    """When the meter, or the boom, should be calibrated next."""
    stepped = [one for one in findings if one.kind in (METER_STEP, METER_DRIFT, UNCLEAR_STEP, UNCLEAR_DRIFT)]
    if stepped:
        newest = max(stepped, key=lambda one: one.first_day)
        return f"calibrate the meter and do a catch test now: {newest.kind}, {newest.first_day}"
    if not coefficient.stretches:
        return "not known: too few runs with steady spraying and a known pressure"
    limit = 2.0 * mine[-1].meter_u
    last = coefficient.stretches[-1]
    moved = last.end - coefficient.stretches[0].begin
    bound = f"the ± {percent(limit, 1)} to which the meter is known"
    if abs(moved) > limit:
        change = math.expm1(moved)
        way = f"{'up' if change > 0 else 'down'} {percent(abs(change), 1)}"
        now = f"do a catch test now: flow at the same pressure is {way}, more than {bound}"
        worn = f"; replace the nozzles at {percent(WORN_OVER)}"
        return now + (worn if any(one.kind == WEAR for one in findings) else "")
    days = (math.copysign(limit, last.slope) - moved) / last.slope if last.slopes() else math.inf
    if days > _FAR_DAYS:
        return f"not yet: flow at the same pressure stays within {bound}"
    when = datetime.fromtimestamp(_time(mine[-1].started) + days * _DAY_S).date()
    return f"about {when.isoformat()}: then flow at the same pressure will have moved by {bound}"


def _remarks(digests: Sequence[Digest], mine: list[Digest], coefficient: Series, balance: Series) -> list[str]:
    remarks = []
    if len(mine) < len(digests):
        remarks.append(f"left out: {plural(len(digests) - len(mine), 'run')} of other rigs or without a date")
    if len(coefficient.dates) < len(mine):
        without = plural(len(mine) - len(coefficient.dates), "run")
        remarks.append(f"without steady spraying at a known pressure: {without}")
    if not balance.stretches:
        remarks.append(
            f"{plural(len(balance.dates), 'run')} with a tank reading, four are needed to tell the meter from the "
            'nozzles: note what is left in the tank ("tank left") after each run'
        )
    remarks.append(
        "the pressure loss of a strainer is not measured, only the pressure that is left behind it: a second "
        "transducer before it would show it"
    )
    remarks.append(
        "wheel and swath are not watched: measure both once a year, the wheel over a tape on the ground you spray"
    )
    if len({one.calibration for one in mine}) > 1:
        remarks.append(
            "the calibration changed within the season: read all runs under one with --recalibrated or --rig"
        )
    return remarks
