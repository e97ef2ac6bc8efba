"""A season of one rig: findings with their days, when to calibrate, and three series as plots and tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from dash import html

from dashboards.ui.fields import plain
from dashboards.ui.figures import remarks
from dashboards.ui.forms import attributes, sentence
from dashboards.ui.plots import axis, graph, label, layout
from dashboards.ui.tables import wide_table
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
    Finding,
    Season,
    Series,
)
from host.units import UNITS, to_user

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_BOOM = (WEAR, CLOGGING, METER_STEP, METER_DRIFT, NOZZLE_STEP, UNCLEAR_STEP, UNCLEAR_DRIFT)
_METER = (METER_STEP, METER_DRIFT, TANK_ONLY)


def season_shown(season: Season, system: str) -> list[Any]:
    """The page's answer for a season."""
    span = f", {season.coefficient.dates[0]} to {season.coefficient.dates[-1]}" if season.coefficient.dates else ""
    lettered = [(letter_of(place), one) for place, one in enumerate(season.findings)]
    found = [
        html.Li([html.B(f"{letter}  {one.kind.capitalize()}. "), sentence(one.sentence)], className="finding")
        for letter, one in lettered
    ]
    return [
        html.P(f"{season.runs} runs of {plain(season.rig) or 'no rig'}{span}.", className="part"),
        html.P(sentence(f"Calibration due: {season.due}"), className="headline"),
        html.H2("What changed", className="part"),
        html.Ul(found, className="findings") if found else html.P("Nothing that this data can show."),
        *_section(
            "Flow over the root of the pressure", season.coefficient, "orifice_coefficient", system, lettered, _BOOM
        ),
        *_section(
            "Pressure at the boom, which a filling strainer lowers",
            season.pressure,
            "pressure",
            system,
            lettered,
            (STRAINER,),
        ),
        *_section("Metered volume over the tank's", season.balance, "", system, lettered, _METER),
        html.H2("What cannot be told", className="part"),
        remarks([sentence(one) for one in season.remarks]),
    ]


def letter_of(place: int) -> str:
    """A, B, … Z, AA: what a finding is called in list and plots."""
    return _LETTERS[place % 26] * (place // 26 + 1)


def _section(
    heading: str,
    series: Series,
    kind: str,
    system: str,
    lettered: Sequence[tuple[str, Finding]],
    kinds: tuple[str, ...],
) -> list[Any]:
    title = html.H2(heading, className="part")
    if not series.dates:
        return [title, html.P("No run has one.")]
    unit = UNITS[system][kind].symbol if kind else "Ratio (no unit)"
    values = [float(to_user(value, kind, system)) if kind else value for value in series.values.tolist()]
    here = [(letter, one) for letter, one in lettered if one.kind in kinds]
    words = f"{heading} over the season, {unit}; the table below has the numbers."
    digits = UNITS[system][kind].decimals if kind else 3
    rows = [
        [day, f"{value:.{digits}f}", _letters_on(day, here)] for day, value in zip(series.dates, values, strict=True)
    ]
    return [
        title,
        html.Div(
            graph(_figure(series, values, unit, here), words, "season"), role="img", **attributes({"aria-label": words})
        ),
        html.Details(
            [
                html.Summary(f"The numbers of {len(rows)} runs"),
                wide_table(["Day", unit, "Finding"], rows, name=heading),
            ],
            className="numbers",
        ),
    ]


def _letters_on(day: str, here: Sequence[tuple[str, Finding]]) -> str:
    return " ".join(letter for letter, one in here if one.first_day <= day <= one.last_day)


def _figure(series: Series, values: Sequence[float], unit: str, here: Sequence[tuple[str, Finding]]) -> dict[str, Any]:
    """A ring for each run, the straight stretches as lines; each finding from a dotted line on, its days as a lane."""
    marker = {"symbol": "circle-open", "size": 8, "color": "#000", "line": {"width": 2, "color": "#000"}}
    data: list[dict[str, Any]] = [
        {"type": "scatter", "mode": "markers", "x": list(series.dates), "y": list(values), "marker": marker}
    ]
    per_si = values[0] / float(series.values[0])
    for one in series.stretches:
        ends = [math.exp(one.begin) * per_si, math.exp(one.end) * per_si]
        data.append(
            {"type": "scatter", "mode": "lines", "x": [series.dates[one.first], series.dates[one.last]], "y": ends}
            | {"line": {"width": 3, "color": "#000"}}
        )
    shapes, notes = [], []
    used: list[str] = []
    for letter, finding in here:
        step = finding.first_day == finding.last_day
        place = {"yref": "paper", "y0": 0, "y1": 1, "x0": finding.first_day}
        line = {"width": 2.5, "dash": "dot", "color": "#000"}
        shapes.append({"type": "line", "x1": finding.first_day, "layer": "above", "line": line} | place)
        if not step:
            lane = {"fillcolor": "#cfe8d2", "line": {"width": 0}}
            shapes.append({"type": "rect", "x1": finding.last_day, "layer": "below"} | lane | place)
        height = 1.0 + 0.09 * used.count(finding.first_day)
        used.append(finding.first_day)
        notes.append(
            label(f"<b>{letter}</b>", finding.first_day, height, yref="paper", yanchor="bottom")
            | {"xanchor": "center" if step else "left"}
        )
    figure: dict[str, Any] = {"data": data, "layout": layout(270, shapes=shapes, annotations=notes)}
    figure["layout"] |= {"xaxis": axis("Day", type="date", nticks=5), "yaxis": axis(unit, nticks=6)}
    figure["layout"]["margin"] |= {"t": 40}
    return figure
