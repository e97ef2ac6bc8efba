"""A season of one rig as a document: when to calibrate, what changed, and the three series behind it."""

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
from host.documents.words import capital, format_day, plural, sentence
from host.review.lone import LONE_RUN, LONE_TANK, Finding
from host.review.review import EXPANDED
from host.review.season import (
    CLOGGING,
    METER_DRIFT,
    METER_STEP,
    NOZZLE_STEP,
    STRAINER,
    TANK_ONLY,
    UNCLEAR_DRIFT,
    UNCLEAR_STEP,
    WEAR,
    Season,
    Series,
)
from host.units import UNITS, to_user

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_Lettered = Sequence[tuple[str, Finding]]


@dataclass(frozen=True)
class _Shown:
    """A series of the season: its field, JSON key, heading, kind of host.units, and the findings that it shows."""

    field: str
    key: str
    heading: str
    kind: str
    findings: tuple[str, ...]


_BOOM = (WEAR, CLOGGING, METER_STEP, METER_DRIFT, NOZZLE_STEP, UNCLEAR_STEP, UNCLEAR_DRIFT, LONE_RUN)
_SHOWN = (
    _Shown("coefficient", "coefficient", "Boom flow at one pressure", "orifice_coefficient", _BOOM),
    _Shown("pressure", "pressure", "Pressure at the boom", "pressure", (STRAINER,)),
    _Shown("balance", "meter_over_tank", "Meter against tank", "", (METER_STEP, METER_DRIFT, TANK_ONLY, LONE_TANK)),
)


def season_document(season: Season, system: str) -> Document:
    """The document of a season, in `system` units."""
    lettered = [(letter_of(index), finding) for index, finding in enumerate(season.findings)]
    dates = season.coefficient.dates
    days = [format_day(day, time=False) for day in dict.fromkeys((*dates[:1], *dates[-1:]))]
    span = f", {' to '.join(days)}" if days else ""
    about = Facts((Fact("rig", "", season.rig), Fact("runs", "", season.runs), Fact("due", "", season.due)))
    none = (Message("No change found."),) if not season.findings else ()
    changes = Section(
        "findings",
        "What changed",
        (Messages(none, ""),),
        sections=tuple(_finding(letter, finding) for letter, finding in lettered),
        listed=True,
    )
    untold = Messages(tuple(Message(sentence(remark)) for remark in season.remarks), "remarks")
    return Document(
        "season",
        f"{season.rig or 'No rig'}: {plural(season.runs, 'run')}{span}",
        sentence(f"calibration due: {season.due}"),
        (
            Section("", "", (about,)),
            changes,
            *(_series(shown, getattr(season, shown.field), system, lettered) for shown in _SHOWN),
            Section("", "What we can't tell", (untold,)),
        ),
        "warning" if season.findings else "note",
    )


def letter_of(index: int) -> str:
    """A, B, … Z, AA: what a finding is called in list and plots."""
    return _LETTERS[index % 26] * (index // 26 + 1)


def _finding(letter: str, finding: Finding) -> Section:
    change = quantity(finding.change, "fraction", "us", expanded_si=EXPANDED * finding.change_u)
    facts = (
        Fact("kind", "", finding.kind),
        Fact("first_day", "", finding.first_day),
        Fact("last_day", "", finding.last_day),
        Fact("change", "", change),
    )
    said = Messages((Message(sentence(finding.sentence)),))
    return Section("", f"{letter}  {capital(finding.kind)}", (Facts(facts), said), level="warning")


def _series(shown: _Shown, series: Series, system: str, lettered: _Lettered) -> Section:
    """One series: a dot for each run, straight segments as lines, a letter where a finding begins."""
    here = [(letter, finding) for letter, finding in lettered if finding.kind in shown.findings]
    unit = UNITS[system][shown.kind].symbol if shown.kind else ""
    rows = tuple(
        (day, _quantity(value, shown.kind, system), _letters_on(day, here))
        for day, value in zip(series.dates, series.values.tolist(), strict=True)
    )
    columns = (Column("date", "Day"), Column(shown.key, shown.heading, unit), Column("", "Finding"))
    title = f"The numbers of {plural(len(rows), 'run')}"
    table = Table(shown.key, columns, rows, title, empty="No run has one.", folded=bool(rows))
    label = f"{shown.heading}, {unit}" if unit else shown.heading
    plots = (_plot(shown, label, series, system, here),) if rows else ()
    return Section("", shown.heading, (*plots, table))


def _plot(shown: _Shown, label: str, series: Series, system: str, here: _Lettered) -> Plot:
    days = [_day(day) for day in series.dates]
    values = [_value(value, shown.kind, system) for value in series.values.tolist()]
    lines = [
        Drawn(
            (
                (days[segment.first], _value(math.exp(segment.begin), shown.kind, system)),
                (days[segment.last], _value(math.exp(segment.end), shown.kind, system)),
            )
        )
        for segment in series.stretches
    ]
    return Plot(
        shown.key,
        f"{shown.heading} over the season",
        "Day",
        label,
        (Drawn(tuple(zip(days, values, strict=True)), style="dots"), *lines),
        lanes=tuple((_day(one.first_day), _day(one.last_day)) for _, one in here if one.first_day != one.last_day),
        marks=tuple((_day(one.first_day), letter) for letter, one in here),
        x_days=True,
    )


def _day(day: str) -> float:
    return float(date.fromisoformat(day).toordinal())


def _letters_on(day: str, here: _Lettered) -> str:
    return " ".join(letter for letter, one in here if one.first_day <= day <= one.last_day)


def _quantity(value: float, kind: str, system: str) -> Quantity:
    return quantity(value, kind, system) if kind else Quantity(f"{value:.3f}", value)


def _value(value: float, kind: str, system: str) -> float:
    return float(to_user(value, kind, system)) if kind else value
