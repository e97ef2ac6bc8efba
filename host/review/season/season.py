"""A season of one rig: its series, and what changed in them.

Three series, each a ratio that the pressure knob and the pace do not move, or named as one that they do:

- the boom's orifice coefficient Q/√P: nozzles, meter and transducer move it;
- metered volume over what left the tank by its marks: the meter alone moves it;
- pressure: strainer, pump, battery and the hand on the knob move it, nozzles and meter hardly do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from host.documents.words import percent, plural
from host.pipeline.columns import Floats
from host.review.card_marks import CardMark
from host.review.digest import Digest
from host.review.season.changes import KNOB, LONE_BOOM, LONE_TANK, WHEEL
from host.review.season.due import Due, due
from host.review.season.effects import Effect, level, measured, usual_response
from host.review.season.findings import (
    EXPANDED,
    Finding,
    Named,
    boom_findings,
    named,
    steadily_lower,
    strainer_findings,
    wheel_findings,
)
from host.review.season.observations import (
    BALANCE,
    BOOM,
    Observations,
    observed,
    pass_lengths,
    pressures,
    time_of,
    under_newest,
)
from host.review.season.search import Explained, explain
from host.rig.model import DAY_TO_DAY

_FEW_BALANCES = 4


@dataclass(frozen=True)
class Series:
    """One quantity over the season: its runs' days, values and ± (95 %, in the values' unit).

    `lone` are places of runs that stand out. `lines` are what was found in it, as (day, value), broken at steps.
    """

    dates: tuple[str, ...]
    values: Floats
    expanded: Floats
    lone: tuple[int, ...]
    lines: tuple[tuple[tuple[str, float], ...], ...]


@dataclass(frozen=True)
class Season:
    """What was looked at, what was found in order of its beginning, when to calibrate, and what cannot be told."""

    rig: str
    runs: int
    coefficient: Series
    balance: Series
    pressure: Series
    pass_length: Series
    findings: tuple[Finding, ...]
    due: Due
    remarks: tuple[str, ...]
    cards: tuple[CardMark, ...] = ()
    sprayed: tuple[Digest, ...] = ()  # the runs in order of time, as each was read


def season_of(digests: Sequence[Digest], cards: Sequence[CardMark] = (), unread: Sequence[str] = ()) -> Season:
    """Compare the runs of the newest run's rig with each other. Runs without a date or steady spraying are left out.

    `cards` are calibrations beside those that the runs recorded; `unread` says of each file that could not be read why.
    """
    rig = next((one.rig for one in reversed(digests) if one.started), "")
    mine = sorted((one for one in digests if one.rig == rig and one.started), key=lambda one: time_of(one.started))
    known = _each_once([*(card for run in mine for card in run.cards), *cards])
    runs = under_newest(mine)
    found = explain(observed(runs, known))
    effects = measured(found)
    changes = named(found, effects, runs)
    squeezed = explain(pressures(runs))
    squeezed_effects = measured(squeezed)
    findings = boom_findings(found, changes)
    pressed = named(squeezed, squeezed_effects, runs)
    findings += strainer_findings(pressed)
    paced = explain(pass_lengths(runs))
    paced_effects = measured(paced)
    findings += wheel_findings(named(paced, paced_effects, runs))
    return Season(
        rig,
        len(mine),
        _series(found, effects, BOOM, LONE_BOOM, runs),
        _series(found, effects, BALANCE, LONE_TANK, runs),
        _series(squeezed, squeezed_effects, BOOM, "", runs),
        _series(paced, paced_effects, BOOM, LONE_BOOM, runs),
        tuple(sorted(findings, key=lambda one: (one.first_day, one.last_day, one.kind))),
        due(found, changes, known, runs),
        (*_remarks(digests, mine, found.seen, paced.seen), *_lower(pressed), *unread),
        known,
        tuple(mine),
    )


def _each_once(cards: Sequence[CardMark]) -> tuple[CardMark, ...]:
    return tuple(sorted(dict.fromkeys(cards), key=lambda card: time_of(card.made)))


def _series(found: Explained, effects: Sequence[Effect], block: int, lone: str, runs: Sequence[Digest]) -> Series:
    """A series of the runs with its lines, in its own unit."""
    seen = found.seen
    here = np.flatnonzero(seen.block == block)
    places = [(int(seen.item[row]), _run(seen, int(row))) for row in here]
    of_runs = [runs[at] for _, at in places]
    alone = WHEEL in seen.causes  # areas of all sizes in one series, each against its own
    values = np.exp(seen.y[here]) if alone else np.array([_value(seen, block, run) for run in of_runs])
    out = {one.change.first for one in effects if one.change.cause == lone}
    lone_places = tuple(at for at, (item, _) in enumerate(places) if item in out)
    if not len(values):
        return Series((), values, values, (), ())
    shape = level(found, effects, block)[[item for item, _ in places]]
    kept = [at for at in range(len(values)) if at not in lone_places] or list(range(len(values)))
    # The median, so that no single run moves the line; changes are measured against each other, not against it.
    base = float(np.median(np.log(values[kept]) - shape[kept]))
    response = usual_response(found, block)
    moving = [one for one in effects if response[seen.causes.index(one.change.cause)]]
    lines = _lines(moving, [item for item, _ in places], of_runs, np.exp(base + shape))
    own = seen.u[here] if alone else np.array([_own_u(run, block) for run in of_runs])
    expanded = EXPANDED * own * values
    return Series(tuple(run.date for run in of_runs), values, expanded, lone_places, lines)


def _run(seen: Observations, row: int) -> int:
    at = seen.runs[int(seen.item[row])]
    assert at is not None  # boom, balance and pressure are seen in runs
    return at


def _value(seen: Observations, block: int, run: Digest) -> float:
    if block == BALANCE:
        return float(run.meter_over_tank or math.nan)
    assert run.steady is not None
    return run.steady.pressure_pa if KNOB in seen.causes else run.steady.coefficient


def _own_u(run: Digest, block: int) -> float:
    """Relative standard uncertainty of a run's own value, what all runs share left out."""
    if block == BALANCE:
        return math.hypot((run.meter_over_tank_u or 0.0) / (run.meter_over_tank or 1.0), DAY_TO_DAY)
    steady = run.steady
    assert steady is not None
    scatter = steady.scatter / math.sqrt(steady.passes) if steady.passes > 1 and math.isfinite(steady.scatter) else 0.0
    return math.hypot(scatter, DAY_TO_DAY)


def _lines(
    effects: Sequence[Effect], items: Sequence[int], runs: Sequence[Digest], values: Floats
) -> tuple[tuple[tuple[str, float], ...], ...]:
    """The line through a series, broken where something came or went at once."""
    breaks = {one.change.first for one in effects if not one.change.power and not one.change.lone}
    breaks |= {one.change.last + 1 for one in effects if one.change.back and not one.change.lone}
    lines: list[list[tuple[str, float]]] = [[]]
    for at, (item, run) in enumerate(zip(items, runs, strict=True)):
        if at and any(items[at - 1] < edge <= item for edge in breaks):
            lines.append([])
        lines[-1].append((run.date, float(values[at])))
    return tuple(tuple(line) for line in lines)


def _lower(pressed: Sequence[Named]) -> list[str]:
    return [
        f"from {one.first.date} to {one.last.date} the pressure went down evenly by "
        f"{percent(-math.expm1(one.effect.size))} and stayed down: the knob, or a pump or battery that tires; "
        "look into the strainers if nobody turned the knob"
        for one in pressed
        if steadily_lower(one)
    ]


def _remarks(digests: Sequence[Digest], mine: Sequence[Digest], seen: Observations, paced: Observations) -> list[str]:
    remarks = []
    if len(mine) < len(digests):
        remarks.append(f"left out: {plural(len(digests) - len(mine), 'run')} of other rigs or without a date")
    if seen.count(BOOM) < len(mine):
        remarks.append(f"without steady spraying at a known pressure: {plural(len(mine) - seen.count(BOOM), 'run')}")
    if seen.count(BALANCE) < _FEW_BALANCES:
        remarks.append(
            f"{plural(seen.count(BALANCE), 'run')} with a tank reading, four are needed to tell the meter from the "
            'nozzles: note what is left in the tank ("tank left") after each run'
        )
    remarks.append(
        "the pressure loss of a strainer is not measured, only the pressure that is left behind it: a second "
        "transducer before it would show it"
    )
    remarks.append(
        "the swath is not watched, and the wheel only by passes over the same ground: measure both once a year"
        if paced.count(BOOM)
        else "wheel and swath are not watched: measure both once a year, the wheel over a tape on the ground you spray "
        "(six runs that name the same area would watch it)"
    )
    if len({one.calibration for one in mine}) > 1:
        remarks.append("the calibration changed within the season: all runs are read here under the newest run's")
    return remarks
