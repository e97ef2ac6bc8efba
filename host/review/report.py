"""The record of a run or a season as a page to print or keep."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import datetime

from host.pipeline.faults.causes import CAUSES
from host.review.detail import (
    balance_words,
    evenness_words,
    product_words,
    spot_words,
    stretch_words,
)
from host.review.digest import Digest
from host.review.faults import (
    EXPANDED,
    alarm_words,
    baseline_words,
    began_words,
    ground_words,
    measured_words,
    sound_words,
)
from host.review.page import bullets, facts, figure, folded, page, section, subheading, table
from host.review.plot import Axis, svg_plot
from host.review.review import Review
from host.review.season import Season, Series
from host.review.text import cards_words, health_words, minutes, rate_words
from host.units import UNITS, format_value, to_user

CAUTIONS = (
    "The label is the law: its rates, limits, protective clothing and re-entry times go before anything here.",
    "Rates here are means over the boom; single nozzles may give more or less. A catch test shows them.",
    "Before work on nozzles, hoses or strainers: pump off, pressure let off, battery unplugged, gloves on.",
    "Measured with calibrations of limited certainty, as stated. This page is no approval and no certificate.",
)
_STRIPS_PLOTTED = 40


def run_report(review: Review, system: str, made: datetime) -> str:
    """The page of one run. Raises UserError for a note that cannot be read as the quantity it stands for."""
    started = f"{review.started:%Y-%m-%d %H:%M}" if review.started else "at an unknown time"
    notes = [(key, value) for key, value in review.notes.items()]
    sections = [
        facts(
            [
                ("Run", review.run.path.name),
                ("Started", started),
                ("Rig", review.rig.name),
                ("Read under", cards_words(review)),
                *notes,
            ]
        ),
        section("What was applied", _applied(review, system)),
        section("Passes", _passes(review, system)),
        section("Faults", *_faults(review, system)),
        section("Rate along each pass", *_strips(review, system)),
        *_places(review, system),
        section("Recording", f"<p>{_escaped(health_words(review))}</p>"),
        section("Cautions", bullets(CAUTIONS, css="caution")),
        f"<p>Made {made:%Y-%m-%d %H:%M}.</p>",
    ]
    return page(f"Spray record: {review.notes.get('area') or review.rig.name}, {started}", sections)


def season_report(season: Season, digests: Sequence[Digest], system: str, made: datetime) -> str:
    """The page of a season: what was applied in each run, what changed."""
    findings = [f"{one.kind}: {one.sentence}" for one in season.findings] or ["Nothing that this data can show."]
    totals = [one for one in digests if one.started]
    sections = [
        facts(
            [
                ("Rig", season.rig),
                ("Runs", str(len(totals))),
                ("Sprayed", format_value(sum(one.volume_m3 for one in totals), "volume", system)),
                ("Area", format_value(sum(one.area_m2 for one in totals), "area", system)),
            ]
        ),
        section("Runs", _runs(totals, system)),
        section("What changed", bullets(findings), f"<p>Calibration due: {_escaped(season.due)}.</p>"),
        section("Flow over the root of the pressure", *_series(season.coefficient, "orifice_coefficient", system)),
        section("Pressure", *_series(season.pressure, "pressure", system)),
        section("Metered volume over the tank's", *_series(season.balance, "", system)),
        section("What cannot be told", bullets(season.remarks)),
        section("Cautions", bullets(CAUTIONS, css="caution")),
        f"<p>Made {made:%Y-%m-%d %H:%M}.</p>",
    ]
    return page(f"Season record: {season.rig}", sections)


def _escaped(text: str) -> str:
    from html import escape

    return escape(text)


def _applied(review: Review, system: str) -> str:
    totals = review.totals
    target = review.rig.target
    rows = [
        ("Volume", format_value(totals.volume_m3, "volume", system)),
        ("Area", format_value(totals.area_m2, "area", system)),
        ("Rate", rate_words(totals.rate_m3_m2, totals.rate_u_m3_m2, system)),
        ("Target", f"{format_value(target.rate_m3_m2, 'rate', system)} ± {target.band:.0%}"),
        ("Time spraying", minutes(totals.spraying_s)),
        ("Off target", f"{minutes(totals.off_target_s)}, {format_value(totals.off_target_m2, 'area', system)}"),
        ("Sprayed standing", f"{minutes(totals.standing_s)}, {format_value(totals.standing_m3, 'volume', system)}"),
        ("Tank", balance_words(review.balance, system)),
    ]
    product = review.product
    if product is not None:
        rows.append(("Product per area", product_words(product, system)))
    return facts(rows)


def _passes(review: Review, system: str) -> str:
    columns = (("distance_m", "length"), ("area_m2", "area"), ("volume_m3", "volume"), ("rate_m3_m2", "rate"))
    rows = []
    for one, strip in zip(review.passes, review.strips, strict=True):
        u = EXPANDED * review.pass_rate_u_m3_m2(one)
        row = [str(one.number), review.at(one.start_s)]
        row += [_number(getattr(one, name), kind, system) for name, kind in columns]
        row += [_number(u, "rate", system), evenness_words(strip), _number(one.speed_m_s, "speed", system)]
        rows.append([*row, _number(one.pressure_pa, "pressure", system)])
    header = ["Pass", "Start", *(f"{name.split('_')[0]} {UNITS[system][kind].symbol}" for name, kind in columns)]
    header += ["± (95 %)", "evenness (CV)", f"speed {UNITS[system]['speed'].symbol}"]
    return table([*header, f"pressure {UNITS[system]['pressure'].symbol}"], rows)


def _faults(review: Review, system: str) -> list[str]:
    basis = baseline_words(review)
    if not review.watched:
        return ["<p>Not looked for.</p>"]
    if not review.faults:
        return [f"<p>None found; {_escaped(basis)}.</p>"]
    told = []
    for fault in review.faults:
        cause = CAUSES[fault.kind]
        rows = [
            ("Began", began_words(review, fault)),
            ("Measured", measured_words(fault)),
            ("On the ground", ground_words(fault, system)),
            ("Check first", "; ".join(cause.check)),
            ("Which?", cause.tell if fault.or_else else ""),
            ("Alarm", alarm_words(review, fault)),
        ]
        told += [subheading(fault.words[:1].upper() + fault.words[1:]), facts([row for row in rows if row[1]])]
    sound = sound_words(review)
    remarks = [f"{basis[:1].upper()}{basis[1:]}.", *([f"The alarm's {sound}."] if sound else [])]
    return [*told, *(f"<p>{_escaped(one)}</p>" for one in remarks)]


def _strips(review: Review, system: str) -> list[str]:
    target = review.rig.target
    band = (float(to_user(target.low_m3_m2, "rate", system)), float(to_user(target.high_m3_m2, "rate", system)))
    x = Axis(f"from the start of the pass, {UNITS[system]['length'].symbol}")
    y = Axis(UNITS[system]["rate"].symbol)
    plots = []
    for strip in review.strips[:_STRIPS_PLOTTED]:
        middles = [(a + b) / 2 for a, b in itertools.pairwise(strip.edges_m.tolist())]
        points = [
            (float(to_user(m, "length", system)), float(to_user(r, "rate", system)))
            for m, r in zip(middles, strip.rate_m3_m2.tolist(), strict=True)
        ]
        title = f"Pass {strip.number}"
        plots.append(figure(title, svg_plot(f"{title}: rate along the pass", x, y, points, band=band)))
        edges = [float(to_user(edge, "length", system)) for edge in strip.edges_m.tolist()]
        rows = [
            [f"{a:.1f}", f"{b:.1f}", f"{r:.2f}"]
            for (a, b), (_, r) in zip(itertools.pairwise(edges), points, strict=True)
        ]
        plots.append(folded(f"Pass {strip.number} as a table", table(["from", "to", y.label], rows)))
    if len(review.strips) > _STRIPS_PLOTTED:
        plots.append(f"<p>{len(review.strips) - _STRIPS_PLOTTED} more passes are in the table above.</p>")
    return plots or ["<p>No pass.</p>"]


def _places(review: Review, system: str) -> list[str]:
    target = review.rig.target.rate_m3_m2
    stretches = [stretch_words(one, target, system) for one in review.stretches(review.strips)]
    spots = [spot_words(one, review.at(one.start_s), system) for one in review.spots]
    sections = []
    if stretches:
        sections.append(section("Off target along the distance", bullets(stretches)))
    if spots:
        sections.append(section("Sprayed while standing", bullets(spots)))
    return sections


def _runs(digests: Sequence[Digest], system: str) -> str:
    rows = []
    for one in digests:
        kind = "small_mass_per_area" if one.product_dry else "product_rate"
        product = "" if one.product_per_area is None else format_value(one.product_per_area, kind, system)
        rows.append(
            [
                one.started[:16].replace("T", " "),
                one.site,
                one.product,
                one.notes.get("operator", ""),
                one.notes.get("weather", ""),
                format_value(one.volume_m3, "volume", system),
                format_value(one.area_m2, "area", system),
                format_value(one.rate_m3_m2, "rate", system),
                str(one.faults or ""),
                product + (" OVER THE LABEL" if one.over_limit else ""),
            ]
        )
    names = [
        "Started",
        "Where",
        "Product",
        "Operator",
        "Weather",
        "Volume",
        "Area",
        "Rate",
        "Faults",
        "Product per area",
    ]
    return table(names, rows)


def _series(series: Series, kind: str, system: str) -> list[str]:
    if not series.dates:
        return ["<p>No run has one.</p>"]
    values = [float(to_user(value, kind, system)) if kind else value for value in series.values.tolist()]
    unit = UNITS[system][kind].symbol if kind else "ratio"
    plot = svg_plot(unit, Axis("", series.dates), Axis(unit), list(enumerate(values)), joined=False)
    return [
        figure(unit, plot),
        table(["Day", unit], [[d, f"{v:.4g}"] for d, v in zip(series.dates, values, strict=True)]),
    ]


def _number(value: float, kind: str, system: str) -> str:
    return format_value(value, kind, system).split(" ")[0]
