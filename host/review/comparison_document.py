"""A run against its catch test, or two runs, as a document: verdict, passes one by one, what the ± is made of."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from host.calibrate.boom_card import as_shown, boom_card
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
    Series,
    Table,
    Value,
    column,
    quantity,
)
from host.documents.words import capital, format_day, sentence
from host.errors import BadInputError
from host.review.by_pass import PassRatio, ratios_by_pass
from host.review.compare import AGREES, NO_CHANGE, Comparison, catch_before, run_against_catch, run_against_run
from host.review.review import Review
from host.review.steady import steady_of
from host.units import rounded_up

_Side = tuple[str, Review, list[PassRatio]]


def catch_comparison(review: Review, cards: Path, system: str) -> Document:
    """A run against the catch test of its rig. Raises UserError when there is nothing to compare."""
    card = catch_before(review, cards)
    catch = boom_card(card)
    result = run_against_catch(review, catch)
    title = f"Run of {format_day(review.started)} against the catch test of {format_day(card.made, time=False)}"
    sides = [("Run", review, ratios_by_pass(review, as_shown(catch, review.rig.pressure, review.cards).coefficient))]
    against = Fact("catch_test", "", card.made.isoformat())
    return _document(result, title, sides, (against,), "catch test", system)


def run_comparison(earlier: Review, later: Review, system: str) -> Document:
    """A later run against an earlier one, whose coefficient is the measure.

    Raises UserError when there is nothing to compare.
    """
    if earlier.run.path == later.run.path:
        raise BadInputError("both are the same run: choose another one")
    result = run_against_run(earlier, later)
    steady = steady_of(earlier.track, earlier.passes, earlier.rig)
    measure = steady.coefficient if steady else float("nan")
    title = f"Run of {format_day(later.started)} against the run of {format_day(earlier.started)}"
    if earlier.rig.name != later.rig.name:
        title += f"; two rigs, {later.rig.name} and {earlier.rig.name}"
    sides = [
        (name, review, ratios_by_pass(review, lambda _: measure))
        for name, review in (("Earlier", earlier), ("Later", later))
    ]
    return _document(result, title, sides, (), "earlier run", system)


def _document(
    result: Comparison, title: str, sides: Sequence[_Side], against: tuple[Fact, ...], measure: str, system: str
) -> Document:
    expanded = result.ratio * result.uncertainty.expanded
    ratio = Quantity(f"{result.ratio:.3f} ± {rounded_up(expanded, 3):.3f}", result.ratio, "", "", expanded)
    facts = (
        *(Fact(f"{name.lower()}", "", str(review.run.path)) for name, review, _ in sides),
        *against,
        Fact("verdict", "", result.verdict),
        Fact("ratio", f"Compared with the {measure} (± is 95 %)", ratio),
        Fact("coverage_factor", "", result.uncertainty.coverage),
    )
    said = Messages((Message(sentence(result.advice), "advice", "advice"),))
    remarks = Messages(tuple(Message(sentence(remark)) for remark in result.remarks))
    return Document(
        "comparison",
        title,
        sentence(capital(result.verdict)),
        (
            Section("", "", (said, Facts(facts), remarks)),
            Section("", "Pass by pass", (_plot(result, sides, measure), _passes(sides, system))),
            Section("", "What the uncertainty is made of", (_components(result, system),), folded=True),
        ),
        "note" if result.verdict in (AGREES, NO_CHANGE) else "warning",
    )


def _components(result: Comparison, system: str) -> Table:
    rows = tuple(
        (part.name, quantity(part.standard, "fraction", system, decimals=2)) for part in result.uncertainty.components
    )
    columns = (Column("part", "Part"), column("standard_uncertainty", "Standard uncertainty", "fraction", system))
    return Table("components", columns, rows)


def _passes(sides: Sequence[_Side], system: str) -> Table:
    rows: list[tuple[Value, ...]] = []
    for name, _, ratios in sides:
        for one in ratios:
            pressure, flow = quantity(one.pressure_pa, "pressure", system), quantity(one.flow_m3_s, "flow", system)
            rows.append((name.lower(), one.number, pressure, flow, Quantity(f"{one.ratio:.3f}", one.ratio)))
    columns = (
        Column("run", "Run" if len(sides) > 1 else ""),
        Column("pass", "Pass"),
        column("pressure", "Pressure", "pressure", system),
        column("flow", "Flow", "flow", system),
        Column("ratio", "Ratio"),
    )
    return Table("passes", columns, tuple(rows), "The numbers of each pass", folded=True)


def _plot(result: Comparison, sides: Sequence[_Side], measure: str) -> Plot:
    """A dot for each pass; the whole run's ratio as a line in the band of its ±; the measure as a line at 1."""
    expanded = result.ratio * result.uncertainty.expanded
    last = max((one.number for _, _, ratios in sides for one in ratios), default=1)
    beside = (0.0,) if len(sides) == 1 else (-0.15, 0.15)
    series = tuple(
        Series(tuple((one.number + shift, one.ratio) for one in ratios), name if len(sides) > 1 else "", "dots")
        for (name, _, ratios), shift in zip(sides, beside, strict=True)
    )
    whole = "whole run" if len(sides) == 1 else "later run"
    return Plot(
        "ratios",
        f"Flow at the same pressure, compared with the {measure}",
        "Pass",
        f"Compared with the {measure}",
        series,
        band=(result.ratio - expanded, result.ratio + expanded),
        levels=((1.0, measure), (result.ratio, f"{whole} {result.ratio:.3f}")),
        x_range=(0.4, last + 0.6),
        x_whole=True,
    )
