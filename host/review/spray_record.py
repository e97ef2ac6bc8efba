"""The record that people must keep of a spraying: what the run knows of it, what was noted, and what is still missing.

Which fields are wanted, and for how long, is a matter of local law. These are common practice on record forms.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from host.documents.document import Fact, Facts, Message, Messages, Section, duration, quantity
from host.documents.words import format_day, listed
from host.errors import UserError
from host.review.balance import Product
from host.review.breaks import breaks_of
from host.review.digest import PRODUCT_NOTE, SITE_NOTES
from host.review.review import EXPANDED, Review
from host.review.tank_sections import product_total
from host.units import format_value

RECORD, HEADING = "record", "Record to keep"
_SEEN = 0.005  # of the known ground: less is inside its ±
LOCAL_LAW = "Local law says what a record must hold and how long to keep it. This page is no legal advice."


@dataclass(frozen=True)
class RecordField:
    """A field that is written down by people: the key of its note, its label, and an example."""

    key: str
    label: str
    example: str


RECORD_FIELDS = (
    RecordField("operator", "Applicator", "Robin Vale"),
    RecordField("licence", "Licence number", "A-1234"),
    RecordField(SITE_NOTES[0], "Place", "Lower green"),
    RecordField(PRODUCT_NOTE, "Product", "the name on the label"),
    RecordField("registration", "Registration number", "as on the label"),
    RecordField("purpose", "Target pest or purpose", "broadleaf weeds"),
    RecordField("wind", "Wind", "4 mph from the west"),
    RecordField("temperature", "Temperature", "64 °F"),
    RecordField("re-entry", "Re-entry", "when the spray has dried, as the label says"),
)


def missing_fields(review: Review) -> tuple[RecordField, ...]:
    """The fields that nobody has filled in yet."""
    return tuple(field for field in RECORD_FIELDS if not noted(review, field))


def record_section(review: Review, system: str) -> Section:
    """The fields in the usual order; what only people know comes from notes."""
    told = [Fact(_json_key(field), field.label, noted(review, field) or "–") for field in RECORD_FIELDS]
    totals = review.totals
    expanded = totals.rate_u_m3_m2 and EXPANDED * totals.rate_u_m3_m2
    measured = [
        Fact("", "Amount of product", _amounts(review, system) or "–"),
        Fact("", "Area treated", _area(review, system)),
        Fact("", "Rate of spray", quantity(totals.rate_m3_m2, "rate", system, expanded_si=expanded)),
        Fact("", "Started", format_day(review.started) if review.started else "–"),
        Fact("", "Ended", _ended(review)),
        *([Fact("", "Breaks", breaks)] if (breaks := _breaks(review)) else []),
    ]
    missing = [field.label.lower() for field in missing_fields(review)]
    said = [Message(f"Still to fill in: {listed(missing)}.", "advice")] if missing else []
    said.append(Message(LOCAL_LAW))
    blocks = (Facts((*told[:5], *measured, *told[5:]), RECORD), Messages(tuple(said), ""))
    return Section("", HEADING, blocks)


def _area(review: Review, system: str) -> str:
    """The ground that is known to have been treated, and what was probably treated unseen."""
    totals = review.totals
    known = format_value(totals.area_m2, "area", system)
    if totals.rate_m3_m2 is None:
        return "not known: measure it" if not totals.all_assigned else "–"
    unseen = format_value(totals.hidden_m2, "area", system)
    if totals.hidden_m2 < _SEEN * totals.area_m2:
        return known
    return f"{known} that is known, and about {unseen} more"


def _json_key(field: RecordField) -> str:
    return field.key.replace("-", "_").replace(" ", "_")


def noted(review: Review, field: RecordField) -> str:
    """What was noted under the field, or follows from the mixing sheet; empty when nothing was."""
    notes = review.notes
    keys = SITE_NOTES if field.key == SITE_NOTES[0] else (field.key,)
    found = next((notes[key].strip() for key in keys if notes.get(key, "").strip()), "")
    if not found and field.key == PRODUCT_NOTE:
        return listed([product.name for product in _products(review) if product.name])
    return found


def _products(review: Review) -> tuple[Product, ...]:
    try:
        return review.products
    except UserError:
        return ()  # the section of products says what cannot be read


def _amounts(review: Review, system: str) -> str:
    """What reached the ground of each product, by volume or by mass."""
    named = (
        (f"{product.name}: " if product.name else "", product_total(product, system)) for product in _products(review)
    )
    return "; ".join(name + total.text for name, total in named)


def _breaks(review: Review) -> str:
    """Each break as it was tapped, with how long it took."""
    track = review.track
    return "; ".join(
        f"{review.at(one.start_s)}, {duration(one.end_s - one.start_s).text}"
        if one.end_s is not None
        else f"from {review.at(one.start_s)} to the end"
        for one in breaks_of(review.run.events, track.host_s, track.spraying)
    )


def _ended(review: Review) -> str:
    frames = review.run.frames
    if review.started is None or not len(frames):
        return "–"
    last = format_day(review.started + timedelta(seconds=float(frames["host_s"][-1])))
    return last if review.run.trailer is not None else f"not recorded; the last report came {last}"
