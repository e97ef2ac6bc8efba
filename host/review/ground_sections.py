"""Where on the ground: rate along each pass, sections off target, spots sprayed standing still."""

from __future__ import annotations

import itertools
import math
from functools import partial

from host.documents.document import (
    Block,
    Column,
    Message,
    Messages,
    Plot,
    Section,
    Series,
    Table,
    Value,
    column,
    quantity,
)
from host.documents.words import percent, plural
from host.review.evenness import BIN_M, Strip
from host.review.review import Review
from host.rig import Target
from host.units import UNITS, to_user

ALONG, STRIPS, BINS = "along", "strips", "bins"  # keys of the section, its plots and its table of numbers
_MOST_ROWS = 12  # of a list that are seen without a tap
_HIGHEST = 2.0  # times the target: a peak above is cut off in plots, or nothing else could be read


def along_section(review: Review, strips: list[Strip], system: str) -> Section:
    """Rate along each pass: a plot each, over the same axes, the sections off target, and the numbers."""
    if not strips:
        return Section(ALONG, "")
    band = target_words(review.rig.target, system)
    said = Messages((Message(f"The shaded band is the target, {band}."),), "")
    blocks: tuple[Block, ...] = (
        said,
        *_plots(review, strips, system),
        _off_target(review, strips, system),
        _bins(review, strips, system),
    )
    return Section(ALONG, "Rate along each pass", blocks)


def target_words(target: Target, system: str) -> str:
    """The band of the target."""
    low, high = (quantity(rate, "rate", system) for rate in (target.low_m3_m2, target.high_m3_m2))
    return f"{low.number} to {high.text}"


def stationary_table(review: Review, system: str) -> Table:
    """Spots sprayed standing still."""
    show = partial(quantity, system=system)
    rows = tuple(
        (
            spot.start_s,
            review.at(spot.start_s),
            spot.number if spot.number is not None else "outside",
            show(spot.into_pass_m, "length"),
            show(spot.volume_m3, "catch"),
            show(spot.duration_s, "time"),
        )
        for spot in review.spots
    )
    columns = (
        Column("start_s", ""),
        Column("", "At"),
        Column("pass", "Pass"),
        column("from_start", "From its start", "length", system),
        column("volume", "Volume", "catch", system),
        column("duration", "For", "time", system),
    )
    folded = len(rows) > _MOST_ROWS
    title = f"Sprayed standing still: {plural(len(rows), 'spot')}" if folded else "Sprayed standing still"
    return Table("stationary", columns, rows, title, folded=folded)


def _off_target(review: Review, strips: list[Strip], system: str) -> Table:
    """Sections that can be walked to."""
    show = partial(quantity, system=system)
    target = review.rig.target.rate_m3_m2
    rows = tuple(
        (
            section.number,
            show(section.from_m, "length", decimals=0),
            show(section.to_m, "length", decimals=0),
            show(section.rate_m3_m2, "rate"),
            _against_words(section.rate_m3_m2, target),
            show(section.excess_m3, "volume"),
        )
        for section in review.sections(strips)
    )
    columns = (
        Column("pass", "Pass"),
        column("from", "From", "length", system),
        column("to", "To", "length", system),
        column("rate", "Rate", "rate", system),
        Column("", "Off by"),
        column("excess", "", "volume", system),
    )
    folded = len(rows) > _MOST_ROWS
    title = f"Off target: {plural(len(rows), 'section')}" if folded else "Off target"
    return Table("off_target", columns, rows, title, empty="No section was off target.", folded=folded)


def _against_words(rate_m3_m2: float, target_m3_m2: float) -> str:
    off = rate_m3_m2 / target_m3_m2 - 1.0
    return f"{percent(abs(off))} {'over' if off > 0 else 'under'}"


def _bins(review: Review, strips: list[Strip], system: str) -> Table:
    show = partial(quantity, system=system)
    target = review.rig.target
    rows: list[tuple[Value, ...]] = []
    marked = set()
    for strip in strips:
        for (begin, end), rate in zip(
            itertools.pairwise(strip.edges_m.tolist()), strip.rate_m3_m2.tolist(), strict=True
        ):
            side = "over" if rate > target.high_m3_m2 else "under" if rate < target.low_m3_m2 else ""
            if side:
                marked.add(len(rows))
            rows.append((strip.number, show(begin, "length"), show(end, "length"), show(rate, "rate"), side))
    columns = (
        Column("pass", "Pass"),
        column("from", "From", "length", system),
        column("to", "To", "length", system),
        column("rate", "Rate", "rate", system),
        Column("", "Off target"),
    )
    title = f"Rate in bins of {quantity(BIN_M, 'length', system).text}"
    return Table(BINS, columns, tuple(rows), title, frozenset(marked), folded=True)


def _plots(review: Review, strips: list[Strip], system: str) -> list[Plot]:
    """One plot for each pass, all over the same axes."""
    known = [strip for strip in strips if len(strip.rate_m3_m2)]
    if not known:
        return []
    target = review.rig.target
    band = (_shown(target.low_m3_m2, "rate", system), _shown(target.high_m3_m2, "rate", system))
    middle = sum(band) / 2
    rates = [
        _shown(rate, "rate", system) for strip in known for rate in strip.rate_m3_m2.tolist() if math.isfinite(rate)
    ]
    y_range = (
        min(0.3 * middle, *(0.9 * rate for rate in rates)),
        max(1.5 * middle, *(min(1.1 * rate, _HIGHEST * middle) for rate in rates)),
    )
    length = max(_shown(float(strip.edges_m[-1]), "length", system) for strip in known)
    return [
        Plot(
            STRIPS,
            _title(review, strip, system),
            f"From the start of the pass, {UNITS[system]['length'].symbol}",
            UNITS[system]["rate"].symbol,
            (Series(_steps(strip, system), style="steps"),),
            band=band,
            x_range=(0.0, length),
            y_range=y_range,
        )
        for strip in known
    ]


def _title(review: Review, strip: Strip, system: str) -> str:
    """The pass with its longest section off target."""
    sections = review.sections([strip])
    if not sections:
        return f"Pass {strip.number}"
    longest = max(sections, key=lambda section: section.to_m - section.from_m)
    begin, end = (quantity(at, "length", system, decimals=0) for at in (longest.from_m, longest.to_m))
    off = _against_words(longest.rate_m3_m2, review.rig.target.rate_m3_m2)
    return f"Pass {strip.number}: {off} from {begin.number} to {end.text}"


def _steps(strip: Strip, system: str) -> tuple[tuple[float, float], ...]:
    """Each bin's rate from its beginning; the last one is held to its end."""
    rates = [_shown(rate, "rate", system) for rate in strip.rate_m3_m2.tolist()]
    edges = [_shown(edge, "length", system) for edge in strip.edges_m.tolist()]
    return tuple(zip(edges, [*rates, rates[-1]], strict=True))


def _shown(value_si: float, kind: str, system: str) -> float:
    return float(to_user(value_si, kind, system))
