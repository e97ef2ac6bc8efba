"""One run in words and tables: what was applied, faults, passes, where it was off, tank, product, recording."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboards.ui.fields import plain
from dashboards.ui.figures import figures, remarks
from dashboards.ui.forms import sentence
from dashboards.ui.tables import wide_table
from host.errors import UserError
from host.pipeline.faults.causes import CAUSES
from host.review.columns import PASS_COLUMNS
from host.review.detail import balance_words, evenness_words, product_words, spot_words, stretch_words
from host.review.digest import PRODUCT_NOTE, SITE_NOTES
from host.review.evenness import BIN_M, Stretch, Strip
from host.review.faults import EXPANDED, alarm_words, baseline_words, ground_words, measured_words, sound_words
from host.review.review import Review
from host.review.text import cards_words, health_words, minutes, rate_words
from host.units import UNITS, format_value

_LISTED = 8  # sentences of a list that are seen at once
_COLUMNS = ("start_s", "distance_m", "area_m2", "volume_m3", "rate_m3_m2")


def headline(review: Review, system: str) -> list[Any]:
    """What was applied where, when, how much, and the rate against its target."""
    totals, notes = review.totals, review.notes
    where = next((notes[key] for key in SITE_NOTES if notes.get(key)), "")
    product = notes.get(PRODUCT_NOTE, "")
    much = f"{format_value(totals.volume_m3, 'volume', system)} on {format_value(totals.area_m2, 'area', system)}"
    what = f"{much} of {plain(product)}" if product else much
    off = totals.off_target_s / totals.spraying_s if totals.spraying_s > 0 else 0.0
    faults = len(review.faults)
    rows = [
        ("Started", f"{review.started:%A %-d %B %Y, %H:%M}" if review.started else "at an unknown time"),
        ("Rig", plain(review.rig.name)),
        ("Rate", rate_words(totals.rate_m3_m2, totals.rate_u_m3_m2, system)),
        ("Target", f"{format_value(review.rig.target.rate_m3_m2, 'rate', system)} ± {review.rig.target.band:.0%}"),
        ("Time spraying", minutes(totals.spraying_s)),
        (
            "Off target",
            f"{minutes(totals.off_target_s)} ({off:.0%}), {format_value(totals.off_target_m2, 'area', system)}",
        ),
        ("Faults", f"! {faults} found" if faults else "none found" if review.watched else "not looked for"),
    ]
    return [
        html.P(f"{plain(where)}: {what}" if where else what, className="headline"),
        html.P(sentence(rate_against_target(review, system)), className="say part"),
        figures(rows),
    ]


def rate_against_target(review: Review, system: str) -> str:
    """Whether the mean rate lies in the target's band, as far as its uncertainty lets that be said."""
    rate, standard, target = review.totals.rate_m3_m2, review.totals.rate_u_m3_m2, review.rig.target
    if rate is None or standard is None:
        return "nothing was sprayed on the move"
    off = rate / target.rate_m3_m2 - 1.0
    much = f"{abs(off):.0%} {'over' if off > 0 else 'under'} the target"
    within = target.low_m3_m2 <= rate <= target.high_m3_m2
    margin = min(abs(rate - target.low_m3_m2), abs(rate - target.high_m3_m2))
    sure = margin > EXPANDED * standard
    if within:
        return f"on target: {much}" + ("" if sure else ", so near the edge of its band that it may lie outside")
    return f"off target: {much}" + ("" if sure else ", so near the edge of its band that it may lie inside")


def faults(review: Review, system: str) -> list[Any]:
    """When, how sure, the change that was measured, what to look at first, and what the ground got."""
    basis = sentence(baseline_words(review))
    if not review.watched:
        return [html.P("Not looked for.")]
    if not review.faults:
        return [html.P(f"None found. {basis}")]
    shown: list[Any] = []
    for fault in review.faults:
        cause = CAUSES[fault.kind]
        rows = [
            ("Began", f"{review.at(fault.began_s)}{_pass_at(review, fault.began_s)}"),
            ("Measured", measured_words(fault)),
            ("On the ground", ground_words(fault, system)),
            ("Which?", cause.tell if fault.or_else else ""),
            ("Alarm", alarm_words(review, fault)),
        ]
        shown.append(
            html.Article(
                [
                    html.H3(f"! {fault.words[:1].upper()}{fault.words[1:]}"),
                    figures([row for row in rows if row[1]]),
                    html.P("Check first:", className="name"),
                    html.Ol([html.Li(words) for words in cause.check], className="checks"),
                ],
                className="fault",
            )
        )
    sound = sound_words(review)
    return [*shown, html.P(basis), *([html.P(f"The alarm's {sound}.")] if sound else [])]


def _pass_at(review: Review, at_s: float) -> str:
    """Which pass a moment lies in, and how far from its start."""
    for one in review.passes:
        if one.start_s <= at_s <= one.end_s:
            here = review.track.between(one.start_s, at_s)
            along = review.track.distance_m[here]
            walked = float(along[-1] - along[0]) if len(along) else 0.0
            return f", pass {one.number}, {format_value(walked, 'length', review.rig.units)} from its start"
    return ", between passes"


def passes(review: Review, strips: Sequence[Strip], system: str) -> list[Any]:
    """The table of passes, evenness with it."""
    if not review.passes:
        return [html.P("No pass: nothing was sprayed on the move for two metres or more.")]
    rows = []
    for one, strip in zip(review.passes, strips, strict=True):
        row = [str(one.number), *(_cell(review, getattr(one, name), name, system) for name in _COLUMNS)]
        row.append(_number(EXPANDED * review.pass_rate_u_m3_m2(one), "rate", system))
        row += [evenness_words(strip), _number(one.speed_m_s, "speed", system)]
        rows.append([*row, _number(one.pressure_pa, "pressure", system), f"{one.off_target_s:.0f}"])
    headings = ["Pass", *(_heading(name, system) for name in _COLUMNS), "± (k = 2)", "CV"]
    headings += [_heading("speed_m_s", system), _heading("pressure_pa", system), "Off target s"]
    target = review.rig.target
    off = {n for n, one in enumerate(review.passes) if not target.low_m3_m2 <= one.rate_m3_m2 <= target.high_m3_m2}
    length = format_value(BIN_M, "length", system)
    return [
        wide_table(headings, rows, frozenset(off), "Passes"),
        html.P(
            [
                f"Evenness, CV: coefficient of variation of the rate in bins of {length} along the pass. ",
                "Passes with a mean rate off target are in heavy type." if off else "",
            ],
            className="aside",
        ),
    ]


def off_target(stretches: Sequence[Stretch], review: Review, system: str) -> list[Any]:
    """Where along the passes the rate was off target."""
    target = review.rig.target.rate_m3_m2
    return _list([stretch_words(one, target, system) for one in stretches], "No stretch was off target.")


def standing(review: Review, system: str) -> list[Any]:
    """Spots sprayed while standing."""
    totals = review.totals
    told = [spot_words(one, review.at(one.start_s), system) for one in review.spots]
    whole = f"In all {minutes(totals.standing_s)}, {format_value(totals.standing_m3, 'volume', system)}."
    return _list(told, "No spot was sprayed while standing.") + ([html.P(whole)] if told else [])


def tank(review: Review, system: str) -> list[Any]:
    """The tank's balance, and product per area against the label's limit; a note that cannot be read says so."""
    shown: list[Any] = []
    try:
        shown.append(html.P(sentence(balance_words(review.balance, system))))
    except UserError as error:
        shown.append(html.P(plain(sentence(str(error))), className="notice"))
    if review.notes.get("tank left") is None:
        shown.append(html.P('Note what was left ("tank left") to check the meter against the tank.', className="aside"))
    shown.append(html.H3("Product"))
    try:
        product = review.product
    except UserError as error:
        return [*shown, html.P(plain(sentence(str(error))), className="notice")]
    if product is None:
        missing = 'Not known: note the mix ("mix") and the label\'s limit ("label limit") to see product per area.'
        return [*shown, html.P(missing)]
    words = sentence(product_words(product, system))
    return [*shown, html.P(f"! {words}" if product.over_limit else words, className="say")]


def notes(review: Review) -> list[Any]:
    """The notes in the run and those added beside it."""
    later = set(review.later_notes)
    rows = [
        (plain(key) + (" (added later)" if key in later else ""), plain(text)) for key, text in review.notes.items()
    ]
    return [figures(rows) if rows else html.P("No notes yet.")]


def health(review: Review) -> list[Any]:
    """How far the recording can be trusted, and what it was read under."""
    words = sentence(health_words(review))
    damage = [f"line {d.line_number}, byte {d.byte_offset}: {d.reason}" for d in review.run.damage[:_LISTED]]
    return [
        html.P(words if review.health.complete else f"! {words}", className="" if review.health.complete else "say"),
        *([remarks(map(plain, damage), warn=True)] if damage else []),
        html.P(sentence(cards_words(review))),
        html.P(["File: ", html.Span(plain(review.run.path.name), className="run-file")]),
    ]


def _list(sentences: list[str], none: str) -> list[Any]:
    if not sentences:
        return [html.P(none)]
    first, rest = sentences[:_LISTED], sentences[_LISTED:]
    shown: list[Any] = [remarks(map(_capital, first))]
    if rest:
        shown.append(html.Details([html.Summary(f"{len(rest)} more"), remarks(map(_capital, rest))]))
    return shown


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _heading(field: str, system: str) -> str:
    name, kind = PASS_COLUMNS[field]
    return name.capitalize() if field == "start_s" else f"{name.capitalize()} {UNITS[system][kind].symbol}"


def _cell(review: Review, value: float, field: str, system: str) -> str:
    return review.at(value) if field == "start_s" else _number(value, PASS_COLUMNS[field][1], system)


def _number(value: float, kind: str, system: str) -> str:
    return format_value(value, kind, system).split(" ")[0]
