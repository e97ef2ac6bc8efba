"""The rows of `bench_coverage`: keepers drawn, how many are covered, warned, told why their ± is wide."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

WIDE_FROM = 98.0  # of 100: a ± that covers more is wider than it had to be


@dataclass(frozen=True)
class Draw:
    """One keeper: how far off, the stated ± (95 %), whether a sentence warned; what is said to be told or assumed."""

    error: float
    expanded: float
    said: bool = False
    assumed: Callable[[], str] = str


# What these keepers have better than it is told or assumed, by how their rows begin: the words that must name it.
BETTER_THAN_ASSUMED = (
    ("pace", "pace varies"),
    ("wheel, one magnet", "magnet"),
    ("wheel", "wheel slips"),
    ("zero alone", "span"),
    ("boom, 50 mL", "marks"),
    ("boom|points", "gauge is"),
    ("run, jug of", "jug is"),
    ("run, filled to|run, caught for|run, 50 mL", "marks"),
    ("one flow|.* below$", "beyond the catches"),
    ("two flows|three flows", "bends|meter scatters"),
    ("factor|run", "meter scatters"),
)


@dataclass(frozen=True)
class Row:
    """A kind of keeper; of 100: covered, covered or warned, told what of the ± is worse assumed than it is (asked where
    more than 98 are covered, else None)."""

    name: str
    covered: float
    held: float
    named: float | None


def print_rows(rows: list[Row]) -> None:
    """How many rows are covered as stated, or said; which are neither, low or wide."""
    low = [row for row in rows if row.covered < 93.0]
    wide = [row for row in rows if row.named is not None]
    unsaid = [row.name for row in low if row.held < 97.0]
    unnamed = [row.name for row in wide if row.named is not None and row.named < 97.0]
    print(f"\n{len(rows)} rows: {len(rows) - len(low) - len(wide)} covered in 93 to 98 of 100", end="; ")
    print(f"{len(wide)} in more, {len(wide) - len(unnamed)} of them told why", end="; ")
    print(f"{len(low)} in less, {len(low) - len(unsaid)} of them said so.")
    print(f"In more, and not told why: {'; '.join(unnamed) or 'none'}")
    print(f"In less, and not said: {'; '.join(unsaid) or 'none'}")


def row_of(name: str, draws: list[Draw]) -> Row:
    """The row of a kind of keeper."""
    covered = [abs(draw.error) <= draw.expanded for draw in draws]
    held = [draw.said or one for draw, one in zip(draws, covered, strict=True)]
    row = Row(name, float(100 * np.mean(covered)), float(100 * np.mean(held)), None)
    return replace(row, named=told_why(name, draws)) if row.covered > WIDE_FROM else row


def told_why(name: str, draws: list[Draw]) -> float:
    """How many of 100 are told what of their ± is told or assumed worse than it is with this kind of keeper."""
    words = next(words for begins, words in BETTER_THAN_ASSUMED if re.match(begins, name))
    return float(100 * np.mean([bool(re.search(words, draw.assumed())) for draw in draws]))
