"""The runs of a folder as a document: what was sprayed in all, one row a run, and the files that cannot be read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from host.documents.document import (
    Column,
    Document,
    Message,
    Messages,
    Quantity,
    Section,
    Table,
    Value,
    column,
    duration,
    quantity,
)
from host.documents.words import format_day, plural, sentence
from host.library.entry import Entry
from host.library.library import problems
from host.review.apart import CALIBRATED
from host.review.digest import Digest
from host.review.ground_columns import verdict_columns
from host.review.tank_sections import product_kind
from host.run_folder import run_name
from host.units import significant_decimals

RECORDING = "recording now"  # of the signs the one that asks for nothing
_Cell = Callable[[Digest], Value]


def runs_document(entries: Sequence[Entry], folder: Path, system: str, *, of: int | None = None) -> Document:
    """The document of these entries, in `system` units; `of` is how many runs there are when these are some of them."""
    bad = Messages(tuple(Message(sentence(problem), "warning") for problem in problems(entries)), "problems")
    sections = (replace(runs_section(entries, folder, system), heading=""), Section("", "", (bad,)))
    return Document("runs", "Runs", totals_words(entries, system, of=of), sections)


def runs_section(entries: Sequence[Entry], folder: Path, system: str) -> Section:
    """The table of the runs under a heading."""
    return Section("", "Runs", (runs_table(entries, folder, system),))


def totals_words(entries: Sequence[Entry], system: str, *, of: int | None = None) -> str:
    """How many runs, and what was sprayed on which area in all of them."""
    digests = [entry.digest for entry in entries if entry.digest]
    if not digests and of is None:
        return "No run yet."
    volumes = [digest.volume_m3 for digest in digests if digest.volume_m3 is not None]
    areas = [digest.area_m2 for digest in digests if digest.area_m2 is not None]
    volume = quantity(sum(volumes), "volume", system).text if volumes or not digests else "volume not known"
    area = quantity(sum(areas), "area", system).text + f" ({quantity(sum(areas), 'field_area', system).text})"
    whole = f"{volume} on {area}" if areas or not digests else f"{volume}, area not known"
    unknown = sum(None in (digest.volume_m3, digest.area_m2) for digest in digests)
    if 0 < unknown < len(digests):
        whole += f", not counting what is not known of {plural(unknown, 'run')}"
    return f"{plural(len(digests), 'run')}: {whole}" + (f", of {of} in all" if of is not None else "")


def runs_table(entries: Sequence[Entry], folder: Path, system: str) -> Table:
    """One row a run, in the order of `entries`. A column in which no run has anything is for machines only."""
    runs = [(entry, entry.digest) for entry in entries if entry.digest]
    columns, cells = zip(*_columns(system), strict=True)
    about = [(run_name(entry.path, folder), str(entry.path), entry.size, entry.problem or None) for entry, _ in runs]
    rows = [(*own, *(cell(digest) for cell in cells)) for own, (_, digest) in zip(about, runs, strict=True)]
    first = (Column("run", "Run"), Column("path", ""), Column("bytes", ""), Column("problem", ""))
    used = tuple(
        one if any(map(_known, (row[place] for row in rows))) else Column(one.key, "")
        for place, one in enumerate((*first, *columns))
    )
    return Table("runs", used, tuple(rows), empty="No run to list.")


def units_of(entries: Sequence[Entry]) -> str:
    """The units of the newest run; metric where there is none."""
    return next((entry.digest.units for entry in reversed(entries) if entry.digest), "metric")


def applied_words(digest: Digest, system: str) -> str:
    """What was sprayed on which area; empty where neither is known."""
    volume, area = quantity(digest.volume_m3, "volume", system).text, quantity(digest.area_m2, "area", system).text
    if digest.area_m2 is None:
        return "" if digest.volume_m3 is None else f"{volume}, area not known"
    return f"{volume if digest.volume_m3 is not None else 'volume not known,'} on {area}"


def rate_words(digest: Digest, system: str) -> str:
    """Which share of the ground got what it should; then the mean rate, and its target."""
    if digest.rate_m3_m2 is None or digest.verdict is None:
        if digest.only_calibrated:
            return f"{CALIBRATED}: nothing sprayed on the move"
        if digest.why_not_known:
            return f"what was sprayed is not known: {digest.why_not_known}"
        return "nothing sprayed on the move" if digest.unassigned_m3 == 0 else "no rate: no ground is known"
    rate, target = (quantity(value, "rate", system) for value in (digest.rate_m3_m2, digest.target_m3_m2))
    return f"{digest.verdict.shares}; mean {rate.text} (target {target.number})"


def signs(digest: Digest, *, recording: bool = False) -> list[str]:
    """What to look at about a run, each in a few words."""
    said = [RECORDING] if recording else [] if digest.complete else ["not complete"]
    if digest.faults:
        said.append(plural(digest.faults, "fault"))
    return [*said, *(["over the label's limit"] if digest.over_limit else [])]


def _columns(system: str) -> list[tuple[Column, _Cell]]:
    show = partial(quantity, system=system)

    return [
        (Column("started", ""), lambda digest: digest.started or None),
        (Column("", "Started"), lambda digest: format_day(digest.started)),
        (Column("site", "Site"), lambda digest: digest.site),
        (Column("product", "Product"), lambda digest: digest.product),
        (Column("operator", "Operator"), lambda digest: digest.notes.get("operator", "")),
        (Column("weather", "Weather"), lambda digest: digest.notes.get("weather", "")),
        (Column("rig", "Rig"), lambda digest: digest.rig),
        (column("volume", "Volume", "volume", system), lambda digest: show(digest.volume_m3, "volume")),
        (column("area", "Area", "area", system), lambda digest: show(digest.area_m2, "area")),
        *verdict_columns(system),
        (Column("product_per_area", "Product per area"), partial(_per_area, system=system)),
        (Column("", "Check"), lambda digest: ", ".join(signs(digest))),
        (Column("complete", ""), lambda digest: digest.complete),
        (Column("faults", ""), lambda digest: digest.faults),
        (Column("over_label_limit", ""), lambda digest: digest.over_limit),
        (Column("passes", ""), lambda digest: digest.passes),
        (Column("duration", ""), lambda digest: duration(digest.duration_s)),
        (Column("stationary_volume", ""), lambda digest: show(digest.standing_m3, "volume")),
        (Column("unassigned_volume", ""), lambda digest: show(digest.unassigned_m3, "volume")),
        (Column("variation", ""), lambda digest: show(digest.variation, "fraction")),
        (Column("off_target_time", ""), lambda digest: duration(digest.off_target_s)),
        (Column("notes", ""), lambda digest: tuple(f"{key}: {text}" for key, text in digest.notes.items())),
    ]


def _known(value: Value) -> bool:
    return value.value is not None if isinstance(value, Quantity) else value not in (None, "")


def _per_area(digest: Digest, system: str) -> Value:
    """Product per area; of several products one after the other, as words."""
    shown = [
        quantity(
            product.per_area,
            product_kind(product.dry),
            system,
            decimals=significant_decimals(product.per_area, product_kind(product.dry), system),
        )
        for product in digest.products
    ]
    if len(shown) < 2:
        return shown[0] if shown else quantity(None, product_kind(False), system)
    return ", ".join(each.text for each in shown)
