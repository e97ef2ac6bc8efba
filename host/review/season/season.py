"""A season of one rig: its series, and what changed in them.

Three series, each a ratio that the pressure knob and the pace do not move, or named as one that they do:

- the boom's orifice coefficient Q/√P: nozzles, meter and transducer move it;
- metered volume over what left the tank by its marks: the meter alone moves it;
- pressure: strainer, pump, battery and the hand on the knob move it, nozzles and meter hardly do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from host.documents.words import format_day, plural
from host.pipeline.columns import Floats
from host.review.card_marks import CardMark
from host.review.digest import Digest
from host.review.season.changes import LONE_BOOM, LONE_TANK
from host.review.season.due import Due, due
from host.review.season.effects import Effect, level, measured, usual_response
from host.review.season.findings import (
    EXPANDED,
    Finding,
    boom_findings,
    lower_remarks,
    named,
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
        (*_remarks(digests, mine, found.seen, paced.seen), *lower_remarks(pressed), *unread),
        known,
        tuple(mine),
    )


def _each_once(cards: Sequence[CardMark]) -> tuple[CardMark, ...]:
    return tuple(sorted(dict.fromkeys(cards), key=lambda card: time_of(card.made)))


def _series(found: Explained, effects: Sequence[Effect], block: int, lone: str, runs: Sequence[Digest]) -> Series:
    """A series of the runs with its lines, in its own unit."""
    seen = found.seen
    here = np.flatnonzero(seen.block == block)
    if not len(here):
        return Series((), np.zeros(0), np.zeros(0), (), ())
    items, values = seen.item[here], seen.values[here]
    dates = tuple(runs[at].date for at in (seen.runs[item] for item in items.tolist()) if at is not None)
    out = [one.change.first for one in effects if one.change.cause == lone]
    lone_places = np.isin(items, out)
    shape = level(found, effects, block)[items]
    kept = ~lone_places if not lone_places.all() else lone_places
    # The median, so that no single run moves the line; changes are measured against each other, not against it.
    base = float(np.median((np.log(values) - shape)[kept]))
    response = usual_response(found, block)
    moving = [one for one in effects if response[seen.causes.index(one.change.cause)]]
    lines = _lines(moving, items.tolist(), dates, np.exp(base + shape))
    expanded = EXPANDED * seen.values_u[here] * values
    return Series(dates, values, expanded, tuple(np.flatnonzero(lone_places).tolist()), lines)


def _lines(
    effects: Sequence[Effect], items: Sequence[int], dates: Sequence[str], values: Floats
) -> tuple[tuple[tuple[str, float], ...], ...]:
    """The line through a series, broken where something came or went at once."""
    breaks = {one.change.first for one in effects if not one.change.power and not one.change.lone}
    breaks |= {one.change.last + 1 for one in effects if one.change.back and not one.change.lone}
    lines: list[list[tuple[str, float]]] = [[]]
    for at, (item, day) in enumerate(zip(items, dates, strict=True)):
        if at and any(items[at - 1] < edge <= item for edge in breaks):
            lines.append([])
        lines[-1].append((day, float(values[at])))
    return tuple(tuple(line) for line in lines)


def _remarks(digests: Sequence[Digest], mine: Sequence[Digest], seen: Observations, paced: Observations) -> list[str]:
    remarks = []
    if len(mine) < len(digests):
        remarks.append(f"left out: {plural(len(digests) - len(mine), 'run')} of other rigs or without a date")
    if seen.count(BOOM) < len(mine):
        remarks.append(f"without steady spraying at a known pressure: {plural(len(mine) - seen.count(BOOM), 'run')}")
    remarks += [f"{format_day(one.started)}: {one.remark}" for one in mine if one.remark]
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
        "(six runs of three passes or more that name the same area would watch it)"
    )
    if len({one.calibration for one in mine}) > 1:
        remarks.append("the calibration changed within the season: all runs are read here under the newest run's")
    return remarks
