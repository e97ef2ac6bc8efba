"""What a result says, with its words, units and digits settled. Renderers add no words of their own."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from host.units import UNITS, format_value, to_user

Level = Literal["note", "advice", "warning", "stop"]


@dataclass(frozen=True)
class Quantity:
    """A number in the unit it is shown in. `value` and `expanded` (its ±, 95 %) are None when not known.

    `text` is what people read, `slug` what a JSON key or a column name carries ("gal_per_1000_ft2"; empty for a plain
    number).
    """

    text: str
    value: float | None
    symbol: str = ""
    slug: str = ""
    expanded: float | None = None


def quantity(
    value_si: float | None,
    kind: str,
    system: str,
    *,
    expanded_si: float | None = None,
    decimals: int | None = None,
) -> Quantity:
    """A quantity of `kind` (see `host.units.UNITS`) for showing in `system`; `expanded_si` is its ± (95 %) in SI."""
    unit = UNITS[system][kind]
    known = value_si is not None and math.isfinite(value_si)
    value = float(to_user(value_si, kind, system)) if value_si is not None and known else None
    spread = None if expanded_si is None or not math.isfinite(expanded_si) else expanded_si * abs(unit.per_si)
    places = unit.decimals if decimals is None else decimals
    text = format_value(value_si, kind, system, decimals=decimals)
    if value is not None and spread is not None:
        text = f"{text.removesuffix(unit.symbol).rstrip()} ± {spread:.{places}f} {unit.symbol}"
    return Quantity(text, value, unit.symbol, unit.slug, spread if value is not None else None)


Value = Quantity | str | int | float | bool | None


@dataclass(frozen=True)
class Fact:
    """A named value. `key` is its JSON name without the unit; a fact without a `label` is for machines only."""

    key: str
    label: str
    value: Value


@dataclass(frozen=True)
class Facts:
    """Names and values beside each other; `key` groups them in JSON (empty: at the top of the section)."""

    facts: tuple[Fact, ...]
    key: str = ""


@dataclass(frozen=True)
class Column:
    """A column of a table: JSON name, heading with its unit. Without a `heading` it is for machines only."""

    key: str
    heading: str


@dataclass(frozen=True)
class Table:
    """Rows of values, one per column. `marked` rows are to be looked at; `empty` is said when there are no rows."""

    key: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Value, ...], ...]
    title: str = ""
    marked: frozenset[int] = frozenset()
    empty: str = ""
    folded: bool = False


@dataclass(frozen=True)
class Message:
    """What happened, then what to do; `key` names its kind for machines."""

    text: str
    level: Level = "note"
    key: str = ""


@dataclass(frozen=True)
class Messages:
    """Sentences in order; `ordered` when the order is one to work through."""

    messages: tuple[Message, ...]
    key: str = "messages"
    title: str = ""
    ordered: bool = False


@dataclass(frozen=True)
class Series:
    """Points in the shown units; not finite leaves a gap. `joined` draws a line, else dots; `label` for the legend.

    `spread` is the half height of each point's error bar, in y units.
    """

    points: tuple[tuple[float, float], ...]
    label: str = ""
    joined: bool = True
    spread: tuple[float, ...] = ()


@dataclass(frozen=True)
class Plot:
    """Series over one pair of axes. `band` of y is shaded; `x_names` are the names of places 0, 1, 2, … on x.

    `marks` are (x, label) pairs. A plot is not in JSON: its numbers stand in a table or in facts.
    """

    key: str
    title: str
    x_label: str
    y_label: str
    series: tuple[Series, ...]
    band: tuple[float, float] | None = None
    x_names: tuple[str, ...] = ()
    marks: tuple[tuple[float, str], ...] = ()


Block = Facts | Table | Messages | Plot


@dataclass(frozen=True)
class Section:
    """A heading and what follows; `key` groups its blocks in JSON (empty: at the top). `folded` opens on a tap."""

    key: str
    heading: str
    blocks: tuple[Block, ...]
    folded: bool = False
    sections: tuple[Section, ...] = ()


@dataclass(frozen=True)
class Document:
    """One result. `kind` names it ("run", "season", "meter", …); `answer` is the one sentence in large type."""

    kind: str
    title: str
    answer: str
    sections: tuple[Section, ...]
    level: Level = "note"

    def blocks(self) -> Iterator[Block]:
        """Every block, in order."""
        yield from _blocks(self.sections)


def _blocks(sections: Sequence[Section]) -> Iterator[Block]:
    for section in sections:
        yield from section.blocks
        yield from _blocks(section.sections)
