"""What a run did, as a document: verdict, faults, passes, ground, tank and product, and how far to trust it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from host.calibrate.cards import active_cards, cards_of_run
from host.documents.document import (
    Block,
    Column,
    Document,
    Fact,
    Facts,
    Level,
    Message,
    Messages,
    Section,
    Table,
    Value,
    duration,
    quantity,
    shown,
)
from host.documents.words import capital, format_day, percent, sentence
from host.errors import UserError, visible
from host.events import COMPUTER_PAUSED, FILE_RESCUED, number_of
from host.pipeline.settle import SHORTEST_M
from host.review.alarm_section import alarm_section
from host.review.apart import (
    CALIBRATED,
    apart_messages,
    apart_rows,
    board_messages,
    calibration_messages,
    timed_pace_message,
)
from host.review.columns import PASS_COLUMNS, TOTAL_COLUMNS, cell
from host.review.digest import SITE_NOTES
from host.review.dry_walks import dry_walk_messages
from host.review.evenness import BIN_M, Strip
from host.review.fault_sections import faults_section
from host.review.ground_picture import PICTURE, ground_picture
from host.review.ground_sections import along_section, stationary_table, target_words
from host.review.review import EXPANDED, Review
from host.review.spray_record import record_section
from host.review.tank_sections import products_blocks, tank_blocks
from host.review.time_section import time_section
from host.review.totals import Totals
from host.review.verdict import Verdict
from host.rig import Target
from host.units import UNITS, format_value

PASSES = "Passes"  # heading
TANK = "tank"
NOTES = "notes"  # key of the section that a page with a form for notes leaves out
_MOST_DAMAGE = 10
_OF_THE_FILE = ("header", "rig", "calibration", "note", "trailer", "board_state")


def run_document(review: Review, system: str) -> Document:
    """The document of a run, in `system` units."""
    strips = review.strips
    answer, level = verdict_answer(review.totals, review.verdict, review.rig.target, system)
    if review.only_calibrated:
        answer, level = f"{capital(CALIBRATED)}: nothing was sprayed on the move.", "note"
    sections = (
        _picture(review, strips, system),
        time_section(review, system),
        faults_section(review, system),
        _totals(review, system),
        _product(review, system),
        _passes(review, strips, system),
        along_section(review, strips, system),
        Section("", "", (stationary_table(review, system),)),
        Section(TANK, "Tank", tank_blocks(review.balance, system)),
        alarm_section(review, system),
        record_section(review, system),
        _notes(review),
        _calibrations(review),
        _recording(review),
        _events(review),
    )
    return Document("run", _title(review), answer, sections, level)


def _title(review: Review) -> str:
    where = next((review.notes[key] for key in SITE_NOTES if review.notes.get(key)), review.rig.name)
    return f"{where}, {format_day(review.started)}"


def verdict_answer(totals: Totals, ground: Verdict | None, target: Target, system: str) -> tuple[str, Level]:
    """What the ground got; then the mean, and how it lies to the band as far as its uncertainty lets that be said."""
    rate, standard = totals.rate_m3_m2, totals.rate_u_m3_m2
    if rate is None or standard is None or ground is None:
        if totals.why_not_known:
            return f"What was sprayed is not known: {totals.why_not_known}.", "warning"
        if not totals.all_assigned:
            much = "Too little" if totals.area_m2 > 0 else "No"
            return f"{much} ground is known, so there is no rate: see what is not assigned.", "warning"
        return "Nothing was sprayed on the move.", "note"
    off = rate / target.rate_m3_m2 - 1.0
    shown = quantity(rate, "rate", system, expanded_si=EXPANDED * standard).text
    side = f"{percent(abs(off))} {'over' if off > 0 else 'under'} the target" if abs(off) >= 0.005 else "at the target"
    much = f"{shown}, {side}"
    within = target.low_m3_m2 <= rate <= target.high_m3_m2
    margin = min(abs(rate - target.low_m3_m2), abs(rate - target.high_m3_m2))
    doubt = "" if margin > EXPANDED * standard else f"; it may lie {'outside' if within else 'inside'} the band"
    return f"{ground.message} Mean {much}{doubt}.", "note" if ground.good else "warning"


def _picture(review: Review, strips: list[Strip], system: str) -> Section:
    """The passes side by side."""
    picture = ground_picture(review, strips, system)
    if picture is None:
        return Section(PICTURE, "")
    return Section(PICTURE, "", (picture,))


def _totals(review: Review, system: str) -> Section:
    totals, target = review.totals, review.rig.target
    stated = {
        "volume_m3": totals.volume_u_m3,
        "ground_m3": totals.ground_u_m3,
        "area_m2": totals.area_u_m2,
        "rate_m3_m2": totals.rate_u_m3_m2,
    }
    expanded = {field: EXPANDED * u for field, u in stated.items() if u}
    facts = [
        # A run has ground that got nothing where something failed: told only then.
        Fact(
            name,
            "" if field == "dry_m2" and not totals.dry_m2 > 0 else label,
            cell(getattr(totals, field), kind, system, expanded.get(field)),
        )
        for field, (name, kind, label) in TOTAL_COLUMNS.items()
        if name
    ]
    rate_at = next(number for number, fact in enumerate(facts) if fact.key == "rate") + 1
    facts[rate_at:rate_at] = [
        Fact("", "Target", target_words(target, system)),
        Fact("target", "", quantity(target.rate_m3_m2, "rate", system)),
        Fact("target_low", "", quantity(target.low_m3_m2, "rate", system)),
        Fact("target_high", "", quantity(target.high_m3_m2, "rate", system)),
    ]
    share = totals.off_target_s / totals.spraying_s if totals.spraying_s > 0 else math.nan
    facts.append(Fact("off_target_time_share", "", quantity(share, "fraction", system)))
    about = Facts(
        (
            Fact("started", "", review.started.isoformat() if review.started else None),
            Fact("rig", "Rig", review.rig.name),
            Fact("units", "", system),
        )
    )
    ground = review.verdict
    for name in ("on", "over", "under", "unknown", "dry"):
        share = math.nan if ground is None else getattr(ground, name)
        facts.append(Fact(f"ground_{name}_share", "", quantity(share, "fraction", system)))
    facts.append(Fact("ground_shares_at_timed_pace", "", ground.timed if ground else None))
    return Section("", "", (about, Facts(tuple(facts), "totals"), *_apart(review, system)))


def _apart(review: Review, system: str) -> tuple[Block, ...]:
    """What is not in the rate, and what the board said of itself."""
    told = (*board_messages(review, system), *apart_messages(review, system), *dry_walk_messages(review, system))
    said = [Message(message, "warning") for message in told]
    also = (*calibration_messages(review), timed_pace_message(review, system))
    said += [Message(message) for message in also if message]
    rows = tuple(tuple(row.values()) for row in apart_rows(review))
    names = ("why", "start_s", "end_s", "volume_m3", "distance_m", "seconds")
    return Messages(tuple(said), "apart"), Table("not_assigned", tuple(Column(name, "") for name in names), rows)


def _passes(review: Review, strips: list[Strip], system: str) -> Section:
    rows = []
    for a_pass, strip in zip(review.passes, strips, strict=True):
        expanded = {
            "rate_m3_m2": EXPANDED * review.pass_rate_u_m3_m2(a_pass),
            "volume_m3": EXPANDED * review.pass_volume_u_m3(a_pass),
        }
        row: list[Value] = [
            cell(getattr(a_pass, field), kind, system, expanded.get(field))
            for field, (name, kind, _) in PASS_COLUMNS.items()
            if name
        ]
        rows.append((*row, quantity(strip.variation, "fraction", system), review.at(a_pass.start_s)))
    columns = [
        Column(name, heading, UNITS[system][kind].symbol if kind not in ("", "time") else "")
        for name, kind, heading in PASS_COLUMNS.values()
        if name
    ]
    columns += [Column("variation", "Evenness (CV)"), Column("", "Start")]
    target = review.rig.target
    off = {n for n, one in enumerate(review.passes) if not target.low_m3_m2 <= one.rate_m3_m2 <= target.high_m3_m2}
    table = Table(
        "passes",
        tuple(columns),
        tuple(rows),
        marked=frozenset(off),
        empty=_no_pass(review, system),
    )
    said = f"Evenness: how much the rate varied along the pass, in bins of {quantity(BIN_M, 'length', system).text}."
    if off:
        said += " Marked passes are off target on average."
    return Section("", PASSES, (table, Messages((Message(said),), "") if rows else Messages(())))


def _no_pass(review: Review, system: str) -> str:
    shortest = format_value(SHORTEST_M, "length", system)
    if review.totals.why_not_known:
        return "No pass is known."
    if not review.totals.all_assigned:
        return f"No pass: nowhere is the ground known for {shortest} or more. What was sprayed is not assigned."
    return f"No pass: nothing was sprayed on the move for {shortest} or more."


def _product(review: Review, system: str) -> Section:
    """The products, or why there are none: a note or a sheet that cannot be read."""
    try:
        blocks = products_blocks(review.products, system, mixed=review.mixed)
    except UserError as error:
        blocks = (Messages((Message(sentence(str(error)), "warning"),)),)
    return Section("product", "Product", blocks)


def _notes(review: Review) -> Section:
    later = set(review.later_notes)
    facts = tuple(
        Fact(key, key + (" (added later)" if key in later else ""), text) for key, text in review.notes.items()
    )
    return Section(NOTES, "Notes", (Facts(facts),))


def _calibrations(review: Review) -> Section:
    """The calibrations that the run was read under, and which it recorded itself."""
    recorded = {card.kind: card for card in active_cards(cards_of_run(review.run.calibrations))}
    rows = []
    for card in review.cards:
        own = recorded.get(card.kind)
        instead = "not recorded in the run" if own is None else f"instead of {_day(own.made)}" if own != card else ""
        name = "catch test" if card.kind == "boom" else card.kind
        result = str(card.measurements.get("result", ""))
        rows.append((card.kind, card.made.isoformat(), capital(name), _day(card.made), result, instead))
    columns = (
        *(Column("kind", ""), Column("made", ""), Column("", "What"), Column("", "Made")),
        *(Column("result", "Result"), Column("", "Recorded")),
    )
    empty = "No calibration: the rig file's own figures."
    return Section("", "Calibrations used", (Table("calibrations", columns, tuple(rows), empty=empty),))


def _day(moment: datetime) -> str:
    return format_day(moment, time=False)


def _recording(review: Review) -> Section:
    """How far the recording can be trusted."""
    health = review.health
    counts = (
        ("lost_frames", "Frames lost", health.lost_frames),
        ("wire_damage", "Lines damaged on the wire", health.wire_damage),
        ("restarts", "Board restarts", health.resets),
        ("damaged_records", "Damaged places in the file", health.damaged_records),
        ("lost_records", "Records missing", health.lost_records),
    )
    facts = (
        Fact("file", "File", review.run.path.name),
        Fact("path", "", str(review.run.path)),
        Fact("frames", "Frames", health.frames),
        Fact("duration", "Duration", duration(health.duration_s)),
        *(Fact(key, label if count else "", count) for key, label, count in counts),
        Fact("clock_scale", "", health.clock_scale),
        Fact("status", "Ended", health.status),
        Fact("complete", "", health.complete),
    )
    said = [] if health.complete else [Message("Not complete: only what could be checked is shown.", "warning")]
    said += [Message(message, "warning") for message in _of_the_computer(review)]
    damage = tuple((d.line_number, d.byte_offset, d.reason) for d in review.run.damage)
    columns = (Column("line", "Line"), Column("byte", "Byte"), Column("reason", "Damage"))
    table = Table("damage", columns, damage, folded=len(damage) > _MOST_DAMAGE, title="Damage")
    return Section("recording", "Recording", (Messages(tuple(said)), Facts(facts), table))


def _of_the_computer(review: Review) -> Iterator[str]:
    """What happened to the file and to the computer while it recorded."""
    for event in review.run.events:
        at = review.at(event.host_s)
        if event.kind == FILE_RESCUED:
            lost, reason = visible(str(event.detail.get("file"))), visible(str(event.detail.get("reason")))
            yield f"{at}: The run file {lost} was lost: {reason}. The run was saved again in this file."
        elif event.kind == COMPUTER_PAUSED:
            slept = shown(duration(number_of(event, "seconds")))
            yield f"{at}: The computer slept for {slept}. Nothing was recorded meanwhile."


def _events(review: Review) -> Section:
    """What happened, for machines: the detail of an event is what the run file holds."""
    events = tuple(
        Section(
            "",
            "",
            (
                Facts((Fact("at_s", "", event.host_s), Fact("kind", "", event.kind))),
                Facts(tuple(Fact(key, "", _plain(value)) for key, value in event.detail.items()), "detail"),
            ),
        )
        for event in review.run.events
        if event.kind not in _OF_THE_FILE
    )
    return Section("events", "", sections=events, listed=True)


def _plain(value: Any) -> Value:
    return value if value is None or isinstance(value, str | int | float | bool) else str(value)
