"""A review as text for the terminal and as JSON for machines."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from host.calibrate.cards import cards_of_run, in_force
from host.pipeline import Pass
from host.review.columns import PASS_COLUMNS, TOTAL_COLUMNS
from host.review.detail import detail_json, detail_lines
from host.review.faults import EXPANDED, alarm_json, fault_json, fault_lines
from host.review.review import Review
from host.units import UNITS, column_name, format_value, to_user

_TABLE = ("number", "start_s", "distance_m", "area_m2", "volume_m3", "rate_m3_m2", "speed_m_s", "pressure_pa")


def review_text(review: Review, system: str) -> str:
    """The review as lines of text, in `system` units."""
    totals, health = review.totals, review.health

    def show(value: float | None, kind: str) -> str:
        return format_value(value, kind, system)

    target = review.rig.target
    off = totals.off_target_s / totals.spraying_s if totals.spraying_s > 0 else 0.0
    lines = [
        f"Run      {review.run.path.name}, started {review.started or 'at an unknown time'}",
        f"Rig      {review.rig.name}, {cards_words(review)}",
        *(f"Note     {key}: {value}" for key, value in review.notes.items()),
        "",
        f"Sprayed  {show(totals.volume_m3, 'volume')} on {show(totals.area_m2, 'area')} "
        f"in {minutes(totals.spraying_s)} of spraying",
        f"Rate     {rate_words(totals.rate_m3_m2, totals.rate_u_m3_m2, system)}; "
        f"target {show(target.rate_m3_m2, 'rate')} ± {target.band:.0%}",
        f"Off target {minutes(totals.off_target_s)} ({off:.0%} of spraying time), {show(totals.off_target_m2, 'area')}",
        f"Standing still while spraying {minutes(totals.standing_s)}, {show(totals.standing_m3, 'volume')}",
        "",
        _pass_table(review, system),
        "",
        *fault_lines(review, system),
        *detail_lines(review, system),
        "",
        f"Recording {health_words(review)}",
    ]
    if health.damaged_records:
        lines += [f"  line {d.line_number}, byte {d.byte_offset}: {d.reason}" for d in review.run.damage[:10]]
    return "\n".join(lines)


def review_json(review: Review, system: str) -> dict[str, Any]:
    """The review ready for json.dumps; every key of a quantity carries its unit, missing values are None."""
    return {
        "run": str(review.run.path),
        "started": review.started.isoformat() if review.started else None,
        "rig": review.rig.name,
        "units": system,
        "notes": review.notes,
        "target_" + UNITS[system]["rate"].slug: to_user(review.rig.target.rate_m3_m2, "rate", system),
        "target_band_percent": review.rig.target.band * 100,
        "totals": in_units(asdict(review.totals), TOTAL_COLUMNS, system),
        "passes": [in_units(asdict(one), PASS_COLUMNS, system) for one in review.passes],
        "detail": detail_json(review, system),
        "calibrations": [{"kind": card.kind, "made": card.made.isoformat()} for card in review.cards],
        "faults_looked_for": review.watched,
        "faults_held_against": f"catch test of {review.catch.made:%Y-%m-%d}" if review.catch else "first seconds",
        "faults": [fault_json(fault, review, system) for fault in review.faults],
        "alarms": [alarm_json(event, review) for event in review.alarms],
        "recording": asdict(review.health),
        "damage": [asdict(damage) for damage in review.run.damage],
        "events": [
            {"at_s": event.host_s, "kind": event.kind, **event.detail}
            for event in review.run.events
            if event.kind not in ("header", "rig", "calibration", "note", "trailer")
        ],
    }


def in_units(values: dict[str, Any], columns: Mapping[str, tuple[str, str]], system: str) -> dict[str, Any]:
    """`values` by field name, renamed and converted as `columns` says."""
    out: dict[str, Any] = {}
    for field, (name, kind) in columns.items():
        value = values[field]
        if isinstance(value, float) and not math.isfinite(value):
            value = None
        if not kind:
            out[name] = value
        else:
            out[column_name(name, kind, system)] = None if value is None else to_user(value, kind, system)
    return out


def text_table(header: list[str], rows: list[list[str]]) -> str:
    """Columns set flush right under their headings."""
    widths = [max(len(row[i]) for row in [header, *rows]) for i in range(len(header))]
    lines = ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in [header, *rows]]
    return "\n".join(lines)


def _pass_table(review: Review, system: str) -> str:
    if not review.passes:
        return "No pass: nothing was sprayed on the move for two metres or more."
    header = [_heading(field, system) for field in _TABLE]
    return text_table(header, [[_cell(review, one, field, system) for field in _TABLE] for one in review.passes])


def _heading(field: str, system: str) -> str:
    name, kind = PASS_COLUMNS[field]
    return name if not kind or field == "start_s" else f"{name} {UNITS[system][kind].symbol}"


def _cell(review: Review, one: Pass, field: str, system: str) -> str:
    kind = PASS_COLUMNS[field][1]
    value = getattr(one, field)
    if field == "start_s":
        return review.at(value)
    if not kind:
        return str(value)
    return format_value(value, kind, system).split(" ")[0]


def rate_words(value: float | None, standard: float | None, system: str) -> str:
    """A rate with its expanded uncertainty."""
    if value is None or standard is None:
        return "none: nothing was sprayed on the move"
    unit = UNITS[system]["rate"]
    return (
        f"{to_user(value, 'rate', system):.{unit.decimals}f} ± "
        f"{EXPANDED * standard * unit.per_si:.{unit.decimals}f} {unit.symbol} (k = {EXPANDED:g}, from the calibrations)"
    )


def cards_words(review: Review) -> str:
    """The calibrations that the run was read under, and which it recorded itself."""
    recorded = {card.kind: card for card in in_force(cards_of_run(review.run.calibrations))}
    said = []
    for card in review.cards:
        own = recorded.get(card.kind)
        instead = "" if own is None or own == card else f" instead of {own.made:%Y-%m-%d}"
        new = " not recorded in the run" if own is None else ""
        said.append(f"{card.kind} {card.made:%Y-%m-%d}{instead}{new}")
    return "calibrations: " + ", ".join(said) if said else "no calibration cards: the rig file's own figures"


def health_words(review: Review) -> str:
    """How far the recording can be trusted, in a sentence."""
    health = review.health
    said = [f"{health.frames} frames in {minutes(health.duration_s)}"]
    said += [
        f"{count} {words}"
        for count, words in (
            (health.lost_frames, "frames lost"),
            (health.wire_damage, "lines damaged on the wire"),
            (health.resets, "board restarts"),
            (health.damaged_records, "damaged places in the file"),
            (health.lost_records, "records missing"),
        )
        if count
    ]
    said.append(f"ended: {health.status}")
    return ", ".join(said) + ("" if health.complete else "; NOT COMPLETE: all that could be verified is shown")


def minutes(seconds: float) -> str:
    """A duration as people say it."""
    return f"{int(seconds // 60)} min {seconds % 60:04.1f} s" if seconds >= 60 else f"{seconds:.1f} s"
