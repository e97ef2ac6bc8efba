"""A run against its catch test, or against another run: the verdict, the passes one by one, what the ± is made of."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dash import html

from dashboards.ui.fields import day_words, plain
from dashboards.ui.figures import figures, remarks
from dashboards.ui.forms import attributes, sentence
from dashboards.ui.plots import axis, graph, label, layout
from dashboards.ui.tables import wide_table
from host.calibrate.boom_card import boom_card
from host.errors import UserError
from host.review.by_pass import PassRatio, ratios_by_pass
from host.review.compare import (
    AGREES,
    CATCH_AGAIN,
    CLOGGED,
    WORN_OR_DRIFTED,
    Comparison,
    catch_before,
    run_against_catch,
    run_against_run,
)
from host.review.review import Review
from host.review.steady import steady_of
from host.units import UNITS, to_user

# A sign before each verdict, so that it is not told by its words alone.
SIGNS = {AGREES: "✓", "no change": "✓", WORN_OR_DRIFTED: "▲", CLOGGED: "▼", CATCH_AGAIN: "?", "changed": "≠"}
Side = tuple[str, list[PassRatio]]


def against_catch(review: Review, cards: Path) -> list[Any]:
    """The page's answer for one run. Raises UserError when there is nothing to compare."""
    card = catch_before(review, cards)
    catch = boom_card(card)
    result = run_against_catch(review, catch)
    sides = [("Run", ratios_by_pass(review, catch.coefficient))]
    about = f"Run of {_day(review)} against the catch test of {card.made:%-d %b %Y}."
    return _answer(result, about, sides, "the catch test", review.rig.units)


def against_run(earlier: Review, later: Review) -> list[Any]:
    """The page's answer for two runs, the coefficient of the earlier one as the measure."""
    if earlier.run.path == later.run.path:
        raise UserError("both are the same run: choose another one")
    result = run_against_run(earlier, later)
    steady = steady_of(earlier.track, earlier.passes, earlier.rig)
    measure = steady.coefficient if steady else float("nan")
    sides = [
        ("Earlier", ratios_by_pass(earlier, lambda _: measure)),
        ("Later", ratios_by_pass(later, lambda _: measure)),
    ]
    about = f"Run of {_day(later)} against the run of {_day(earlier)}."
    if earlier.rig.name != later.rig.name:
        about += f" Two rigs: {plain(later.rig.name)} and {plain(earlier.rig.name)}."
    return _answer(result, about, sides, "the earlier run", later.rig.units)


def _day(review: Review) -> str:
    return day_words(review.started.isoformat()) if review.started else plain(review.run.path.stem)


def _answer(result: Comparison, about: str, sides: Sequence[Side], measure: str, system: str) -> list[Any]:
    expanded = result.ratio * result.uncertainty.expanded
    words = f"Flow at the same pressure over that of {measure}, pass by pass; the table below has the numbers."
    sign = SIGNS.get(result.verdict, "?")
    return [
        html.P(about, className="part"),
        html.P([html.Span(f"{sign} "), html.Span(result.verdict.capitalize(), id="verdict")], className="headline"),
        html.P(sentence(result.advice), className="say part"),
        figures(
            [("Ratio", f"{result.ratio:.3f} ± {expanded:.3f} (95 %, k = {result.uncertainty.coverage:.2f})")],
            frozenset({"Ratio"}),
        ),
        html.H2("Pass by pass", className="part"),
        html.Div(
            graph(_figure(result, sides, measure), words, "ratios"), role="img", **attributes({"aria-label": words})
        ),
        html.P(_legend(sides, measure), className="aside"),
        html.Details([html.Summary("The numbers of each pass"), _table(sides, system)], className="numbers"),
        html.H2("What the uncertainty is made of", className="part"),
        html.P("Standard uncertainties, relative; the ratio's ± is expanded from them.", className="aside"),
        figures([(part.name, f"{part.standard:.2%}") for part in result.uncertainty.components]),
        remarks([sentence(one) for one in result.remarks]),
    ]


def _legend(sides: Sequence[Side], measure: str) -> str:
    marks = (
        "Dots: passes of the run" if len(sides) == 1 else "Squares: passes of the earlier run. Dots: of the later one"
    )
    whole = "the whole run" if len(sides) == 1 else "the later run as a whole"
    return f"{marks}. Whole line: {measure}. Broken line: {whole}, in the shaded lane of its uncertainty."


def _figure(result: Comparison, sides: Sequence[Side], measure: str) -> dict[str, Any]:
    """A mark for each pass; the whole ratio as a broken line in its lane of ±; the measure as a whole line at 1."""
    expanded = result.ratio * result.uncertainty.expanded
    data: list[dict[str, Any]] = []
    values = [1.0, result.ratio - expanded, result.ratio + expanded]
    symbols = ("circle", "square-open")
    for (name, ratios), symbol in zip(sides, symbols if len(sides) == 1 else symbols[::-1], strict=False):
        values += [one.ratio for one in ratios]
        marker = {"symbol": symbol, "size": 11, "color": "#000", "line": {"width": 2.5, "color": "#000"}}
        beside = 0.0 if len(sides) == 1 else -0.15 if name == "Earlier" else 0.15
        xs = [one.number + beside for one in ratios]
        data.append(
            {"type": "scatter", "mode": "markers", "x": xs, "y": [one.ratio for one in ratios]}
            | {"marker": marker, "name": name}
        )
    low, high = min(values), max(values)
    room = max(0.12 * (high - low), 0.02)
    last = max((one.number for _, ratios in sides for one in ratios), default=1)
    span = [0.4, last + 0.6]
    shapes: list[dict[str, Any]] = [
        {
            "type": "rect",
            "xref": "paper",
            "x0": 0,
            "x1": 1,
            "y0": result.ratio - expanded,
            "y1": result.ratio + expanded,
        }
        | {"layer": "below", "line": {"width": 0}, "fillcolor": "#cfe8d2"}
    ]
    for value, dash in ((1.0, "solid"), (result.ratio, "dash")):
        line = {"dash": dash, "width": 2, "color": "#000"}
        data.append({"type": "scatter", "mode": "lines", "x": span, "y": [value, value], "line": line})
    above = result.ratio >= 1.0
    whole = "whole run" if len(sides) == 1 else "later run"
    notes = [
        label(measure, span[0], 1.0, xanchor="left", yanchor="top" if above else "bottom"),
        label(f"{whole} {result.ratio:.3f}", span[1], result.ratio, xanchor="right")
        | {"yanchor": "bottom" if above else "top"},
    ]
    return {
        "data": data,
        "layout": layout(
            300,
            shapes=shapes,
            annotations=notes,
            xaxis=axis("Pass", range=span, dtick=1 if last <= 12 else None, nticks=8),
            yaxis=axis("Ratio (no unit)", range=[low - room, high + room], tickformat=".2f"),
        ),
    }


def _table(sides: Sequence[Side], system: str) -> html.Div:
    pressure, flow = UNITS[system]["pressure"], UNITS[system]["flow"]
    rows = []
    for name, ratios in sides:
        for one in ratios:
            known = f"{to_user(one.pressure_pa, 'pressure', system):.{pressure.decimals}f}"
            metered = f"{to_user(one.flow_m3_s, 'flow', system):.{flow.decimals}f}"
            first = str(one.number) if len(sides) == 1 else f"{name} {one.number}"
            rows.append([first, known, metered, f"{one.ratio:.3f}"])
    return wide_table(
        ["Pass", f"Pressure {pressure.symbol}", f"Flow {flow.symbol}", "Ratio"], rows, name="Pass by pass"
    )
