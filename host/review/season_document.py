"""A season of one rig as a document: when to calibrate, what changed, and the series behind it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from host.documents.document import (
    Column,
    Document,
    Fact,
    Facts,
    Message,
    Messages,
    Plot,
    Quantity,
    Section,
    Table,
    quantity,
)
from host.documents.document import Series as Drawn
from host.documents.words import capital, format_day, percent, plural, sentence
from host.review.ground_columns import verdict_columns
from host.review.season import Finding, Season, Series
from host.review.season.findings import EXPANDED
from host.review.verdict import GOOD_SHARE
from host.units import UNITS, to_user

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_MOST_ROWS = 30  # of the ground that stand open
_Lettered = Sequence[tuple[str, Finding]]


@dataclass(frozen=True)
class _Shown:
    """A series of the season: its field, JSON key, heading, kind of host.units, and the cards that bear on it."""

    field: str
    key: str
    heading: str
    kind: str
    cards: tuple[str, ...] = ()
    always: bool = True  # told where no run has one, too


_SHOWN = (
    _Shown("coefficient", "coefficient", "Boom flow at one pressure", "orifice_coefficient", ("boom", "meter")),
    _Shown("balance", "meter_over_tank", "Meter against tank", "", ("meter",)),
    _Shown("pressure", "pressure", "Pressure at the boom", "pressure", ("pressure",)),
    _Shown("pass_length", "pass_length_over_usual", "Pass length against usual", "", always=False),
)
_CARDS = {
    "boom": "catch test",
    "meter": "meter calibrated",
    "pressure": "transducer calibrated",
}


def season_document(season: Season, system: str) -> Document:
    """The document of a season, in `system` units."""
    lettered = [(letter_of(index), finding) for index, finding in enumerate(season.findings)]
    dates = season.coefficient.dates
    days = [format_day(day, time=False) for day in dict.fromkeys((*dates[:1], *dates[-1:]))]
    span = f", {' to '.join(days)}" if days else ""
    about = Facts((Fact("rig", "", season.rig), Fact("runs", "", season.runs), Fact("due", "", season.due.text)))
    unchanged = Message("No change found." if season.runs else "There is no run to compare.")
    none = () if season.findings else (unchanged,)
    changes = Section(
        "findings",
        "What changed",
        (Messages(none, ""),),
        sections=tuple(_finding(letter, finding, system) for letter, finding in lettered),
        listed=True,
    )
    why = Messages(tuple(Message(sentence(message)) for message in season.due.messages))
    untold = Messages(tuple(Message(sentence(remark)) for remark in season.remarks), "remarks")
    return Document(
        "season",
        f"{season.rig or 'No rig'}: {plural(season.runs, 'run')}{span}",
        sentence(f"calibration due: {', '.join(season.due.do)}"),
        (
            Section("", "", (about, why)),
            changes,
            _runs(season, system, lettered),
            _ground(season, system),
            Section("", "What we can't tell", (untold,)),
        ),
        "warning" if season.findings else "note",
    )


def letter_of(index: int) -> str:
    """A, B, … Z, AA: what a finding is called in list and plots."""
    return _LETTERS[index % 26] * (index // 26 + 1)


def _finding(letter: str, finding: Finding, system: str) -> Section:
    zero = finding.zero_pa
    change = quantity(finding.change, "fraction", "us", expanded_si=EXPANDED * finding.change_u)
    facts = (
        Fact("kind", "", finding.kind),
        Fact("first_day", "", finding.first_day),
        Fact("last_day", "", finding.last_day),
        Fact("change", "", change),
        Fact("suspects", "", finding.suspects),
        Fact("zero_moved", "", zero and quantity(zero[0], "pressure", system, expanded_si=EXPANDED * zero[1])),
    )
    said = Messages((Message(sentence(finding.sentence)),))
    return Section("", f"{letter}  {capital(finding.kind)}", (Facts(facts), said), level="warning")


def _ground(season: Season, system: str) -> Section:
    """What the ground got, run by run: the shares on target, over, under and not known, and then the mean."""
    columns, cells = zip(*verdict_columns(system), strict=True)
    rows = tuple((run.date, *(cell(run) for cell in cells)) for run in season.sprayed)
    good = {at for at, run in enumerate(season.sprayed) if run.verdict is not None and run.verdict.good}
    off = frozenset(range(len(rows))) - good
    folded = len(rows) > _MOST_ROWS
    title = f"Share on target: {plural(len(rows), 'run')}" if folded else ""
    table = Table("ground", (Column("date", "Day"), *columns), rows, title, off, "No run to judge.", folded)
    said = f"Marked runs have less than {percent(GOOD_SHARE, decimals=0)} of their ground on target." if off else ""
    return Section("", "What the ground got", (table, Messages((Message(said),) if said else (), "")))


def _runs(season: Season, system: str, lettered: _Lettered) -> Section:
    """The series over one time axis, and their numbers: a dot for each run, a letter where a finding begins."""
    four = (season.coefficient, season.balance, season.pressure, season.pass_length)
    every = zip(_SHOWN, four, strict=True)
    drawn = [(shown, series) for shown, series in every if shown.always or series.dates]
    days = [_day(day) for _, series in drawn for day in series.dates]
    days += [_day(card.date) for card in season.cards] if days else []
    room = 0.03 * max(max(days) - min(days), 7.0) if days else 0.0
    axis = (min(days) - room, max(days) + room) if days else None
    plots = tuple(_plot(shown, series, season, system, lettered, axis) for shown, series in drawn if series.dates)
    return Section("", "The runs", (*plots, *(_table(shown, series, system, lettered) for shown, series in drawn)))


def _table(shown: _Shown, series: Series, system: str, lettered: _Lettered) -> Table:
    here = [(letter, finding) for letter, finding in lettered if shown.field in finding.shown]
    unit = UNITS[system][shown.kind].symbol if shown.kind else ""
    rows = tuple(
        (day, _quantity(value, expanded, shown.kind, system), _letters_on(day, at in series.lone, here))
        for at, (day, value, expanded) in enumerate(
            zip(series.dates, series.values.tolist(), series.expanded.tolist(), strict=True)
        )
    )
    columns = (Column("date", "Day"), Column(shown.key, shown.heading, unit), Column("", "Finding"))
    title = f"{shown.heading}: {plural(len(rows), 'run')}"
    return Table(
        shown.key,
        columns,
        rows,
        title,
        frozenset(series.lone),
        empty=f"{shown.heading}: no run has one.",
        folded=bool(rows),
    )


def _plot(
    shown: _Shown, series: Series, season: Season, system: str, lettered: _Lettered, axis: tuple[float, float] | None
) -> Plot:
    here = [(letter, finding) for letter, finding in lettered if shown.field in finding.shown]
    unit = UNITS[system][shown.kind].symbol if shown.kind else ""
    points = [
        (_day(day), _value(value, shown.kind, system))
        for day, value in zip(series.dates, series.values.tolist(), strict=True)
    ]
    spread = [abs(_value(half, shown.kind, system)) for half in series.expanded.tolist()]
    usual = [at for at in range(len(points)) if at not in series.lone]
    line: list[tuple[float, float]] = []
    for part in series.lines:
        line += [(_day(day), _value(value, shown.kind, system)) for day, value in part]
        line.append((_day(part[-1][0]), math.nan))
    dots = [
        Drawn(
            tuple(points[at] for at in usual), "runs" if series.lone else "", "dots", tuple(spread[at] for at in usual)
        )
    ]
    label, lone = "stand out" if series.lone else "", series.lone
    dots.append(Drawn(tuple(points[at] for at in lone), label, "dots", tuple(spread[at] for at in lone)))
    calibrated = [(_day(card.date), _CARDS[card.kind]) for card in season.cards if card.kind in shown.cards]
    return Plot(
        "season",
        shown.heading,
        "Day",
        unit,
        (*dots, Drawn(tuple(line))),
        lanes=tuple((_day(one.first_day), _day(one.last_day)) for _, one in here if one.first_day != one.last_day),
        marks=(*((_day(one.first_day), letter) for letter, one in here), *dict.fromkeys(calibrated)),
        x_days=True,
        x_range=axis,
    )


def _day(day: str) -> float:
    return float(date.fromisoformat(day).toordinal())


def _letters_on(day: str, lone: bool, here: _Lettered) -> str:
    return " ".join(
        letter for letter, one in here if one.first_day <= day <= one.last_day and (lone or not one.started)
    )


def _quantity(value: float, expanded: float, kind: str, system: str) -> Quantity:
    if kind:
        return quantity(value, kind, system, expanded_si=expanded)
    return Quantity(f"{value:.3f} ± {expanded:.3f}", value, expanded=expanded)


def _value(value: float, kind: str, system: str) -> float:
    return float(to_user(value, kind, system)) if kind else value
