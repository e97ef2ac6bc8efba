"""What a result says, with its words, units and digits settled. Renderers add no words of their own.

To render one: `host.documents.text.format_text`, `host.documents.html.format_html`, `host.documents.json.to_json`,
`dashboards.ui.document_view.document_view`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from host.units import UNITS, format_value, group_digits, rounded_up, to_user

Level = Literal["note", "advice", "warning", "stop"]
Style = Literal["line", "steps", "dots", "bars"]


@dataclass(frozen=True)
class Quantity:
    """A number in the unit it is shown in. `value` and `expanded` (its ±, 95 %) are None when not known.

    `number` is what people read ("1.03 ± 0.05", "–"), `symbol` the unit behind it. `slug` is what a JSON key or a
    column name carries ("gal_per_1000_ft2"; empty for a plain number).
    """

    number: str
    value: float | None
    symbol: str = ""
    slug: str = ""
    expanded: float | None = None

    @property
    def text(self) -> str:
        """Number and unit."""
        return f"{self.number} {self.symbol}".rstrip()

    @property
    def reads_zero(self) -> bool:
        """Whether people read 0: nothing, or so little that it is rounded away."""
        return not self.number.strip("-0.")


def quantity(
    value_si: float | None,
    kind: str,
    system: str,
    *,
    expanded_si: float | None = None,
    decimals: int | None = None,
) -> Quantity:
    """A quantity of `kind` (see `host.units.UNITS`) for showing in `system`; `expanded_si` is its ± (95 %) in SI.

    It has as many decimals as the unit, or as asked for; more where its ± would be shown as zero.
    """
    unit = UNITS[system][kind]
    places = unit.decimals if decimals is None else decimals
    if value_si is None or expanded_si is None or not (math.isfinite(value_si) and math.isfinite(expanded_si)):
        number = format_value(value_si, kind, system, decimals=places).removesuffix(unit.symbol).rstrip()
        known = value_si is not None and math.isfinite(value_si)
        return Quantity(
            number, float(to_user(value_si or 0.0, kind, system)) if known else None, unit.symbol, unit.slug
        )
    expanded = expanded_si * abs(unit.per_si)
    while 0 < expanded < 0.5 * 10**-places:
        places += 1
    number = format_value(value_si, kind, system, decimals=places).removesuffix(unit.symbol).rstrip()
    value = float(to_user(value_si, kind, system))
    spread = group_digits(f"{rounded_up(expanded, places):.{places}f}", system)
    return Quantity(f"{number} ± {spread}", value, unit.symbol, unit.slug, expanded)


def duration(seconds: float | None) -> Quantity:
    """A time as people say it, "4 min 51.5 s"; the number in seconds."""
    if seconds is None or not math.isfinite(seconds):
        return Quantity("–", None, "", "s")
    # Rounded first, or 59.96 s would be 60.0 s.
    minutes, rest = divmod(round(seconds, 1), 60.0)
    text = f"{minutes:.0f} min {rest:04.1f} s" if minutes else f"{rest:.1f} s"
    return Quantity(text, seconds, "", "s")


Value = Quantity | str | int | float | bool | tuple[str | int, ...] | None


def shown(value: Value, symbol: str = "") -> str:
    """A value as people read it, without its unit where that is `symbol` (and so stands in a heading already)."""
    if isinstance(value, Quantity):
        return value.number if symbol and value.symbol == symbol else value.text
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(map(str, value))
    return "" if value is None else str(value)


@dataclass(frozen=True)
class Fact:
    """A named value. `key` is its JSON name without the unit.

    A fact without a `label` is for machines only, one without a `key` for people only.
    """

    key: str
    label: str
    value: Value


@dataclass(frozen=True)
class Facts:
    """Names and values beside each other; `key` groups them in JSON (empty: at the top of the section)."""

    facts: tuple[Fact, ...]
    key: str = ""

    @property
    def seen(self) -> tuple[tuple[str, str], ...]:
        """Labels and values of the facts for people."""
        return tuple((fact.label, shown(fact.value)) for fact in self.facts if fact.label)


@dataclass(frozen=True)
class Column:
    """A column of a table. Where its cells have the unit `symbol`, that stands in the heading and not in the cells.

    Without a `heading` it is for machines only, without a `key` for people only.
    """

    key: str
    heading: str
    symbol: str = ""

    @property
    def head(self) -> str:
        """Heading with its unit."""
        return f"{self.heading}, {self.symbol}" if self.symbol else self.heading


def column(key: str, heading: str, kind: str, system: str) -> Column:
    """A column of quantities of `kind` (see `host.units.UNITS`) in `system`."""
    return Column(key, heading, UNITS[system][kind].symbol)


@dataclass(frozen=True)
class Table:
    """Rows of values, one per column. `marked` rows are to be looked at; `empty` is said when there are no rows.

    A `folded` table opens on a tap. With an empty `key` it is for people only.
    """

    key: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Value, ...], ...]
    title: str = ""
    marked: frozenset[int] = frozenset()
    empty: str = ""
    folded: bool = False

    @property
    def headings(self) -> list[str]:
        """Headings of the columns for people, with their units."""
        return [column.head for column in self.columns if column.heading]

    @property
    def flush_left(self) -> list[bool]:
        """Which of the columns for people hold text, and no numbers."""
        return [
            any(isinstance(row[place], str) for row in self.rows)
            for place, column in enumerate(self.columns)
            if column.heading
        ]

    @property
    def cells(self) -> list[list[str]]:
        """The rows for people, as text."""
        return [
            [shown(value, column.symbol) for column, value in zip(self.columns, row, strict=True) if column.heading]
            for row in self.rows
        ]


@dataclass(frozen=True)
class Message:
    """What happened, then what to do; `key` names its kind for machines."""

    text: str
    level: Level = "note"
    key: str = ""


@dataclass(frozen=True)
class Messages:
    """Sentences in order; `ordered` when the order is one to work through. `folded` ones open on a tap.

    Messages under the same `key` in one section are one list in JSON; with an empty `key` they are for people only.
    """

    messages: tuple[Message, ...]
    key: str = "messages"
    title: str = ""
    ordered: bool = False
    folded: bool = False


@dataclass(frozen=True)
class Series:
    """Points in the shown units; not finite leaves a gap. `label` is for the legend.

    `steps` hold each value until the next point. `spread` is the half height of each point's error bar, in y units.
    """

    points: tuple[tuple[float, float], ...]
    label: str = ""
    style: Style = "line"
    spread: tuple[float, ...] = ()


@dataclass(frozen=True)
class Plot:
    """Series over one pair of axes; labels end with the unit. Not in JSON: its numbers stand in a table or in facts.

    `band` of y and `lanes` of x are shaded. `levels` are (y, label) lines across, `marks` (x, label) lines up.
    `x_names` are the names of places 0, 1, 2, … on x; with `x_days` x is a day (`date.toordinal`), with `x_whole` only
    whole places are numbered. Ranges are found from the points when None. Plots in a row with the same key are to be
    compared: one below the other, as they come.
    """

    key: str
    title: str
    x_label: str
    y_label: str
    series: tuple[Series, ...]
    band: tuple[float, float] | None = None
    lanes: tuple[tuple[float, float], ...] = ()
    levels: tuple[tuple[float, str], ...] = ()
    marks: tuple[tuple[float, str], ...] = ()
    x_names: tuple[str, ...] = ()
    x_days: bool = False
    x_whole: bool = False
    x_range: tuple[float, float] | None = None
    y_range: tuple[float, float] | None = None


@dataclass(frozen=True)
class PictureMark:
    """Something at a place of a strip: `at` from its start; `sign` is drawn, `words` say what it is.

    `told` is how far from the start of the pass it is said to be, where that is not `at`: a pass may have begun unseen.
    """

    at: float
    sign: str
    words: str
    told: float | None = None


@dataclass(frozen=True)
class PictureStrip:
    """One pass: its length, and (from, to, level) along it: -2 far under … 0 on target … 2 far over, None not known.

    `number` is None for a pass that was probably sprayed and of which nothing is known.
    """

    number: int | None
    length: float
    bands: tuple[tuple[float, float, int | None], ...]
    marks: tuple[PictureMark, ...] = ()


@dataclass(frozen=True)
class GroundPicture:
    """Passes side by side in the order walked. Lengths in `symbol`. Not in JSON: its numbers stand in a table."""

    key: str
    title: str
    symbol: str
    swath: float
    strips: tuple[PictureStrip, ...]


Block = Facts | Table | Messages | Plot | GroundPicture


@dataclass(frozen=True)
class Section:
    """A heading and what follows; `key` groups its blocks in JSON (empty: at the top). `folded` opens on a tap.

    With `listed` its inner sections are the objects of a list under `key`, and its own blocks stand beside that list.
    A section without anything for people is for machines only.
    """

    key: str
    heading: str
    blocks: tuple[Block, ...] = ()
    folded: bool = False
    sections: tuple[Section, ...] = ()
    listed: bool = False
    level: Level = "note"

    @property
    def seen(self) -> bool:
        """Whether anything in it is for people."""
        return any(map(_seen, self.blocks)) or any(section.seen for section in self.sections)


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

    @property
    def folded(self) -> tuple[str, ...]:
        """What opens on a tap: headings of sections and titles of blocks."""
        return tuple(_folded(self.sections))

    def section(self, key: str) -> Section | None:
        """The section of that key, wherever it stands; None when there is none."""
        return _section(self.sections, key)


def _seen(block: Block) -> bool:
    if isinstance(block, Facts):
        return bool(block.seen)
    if isinstance(block, Table):
        return bool(block.headings and (block.rows or block.empty))
    return not isinstance(block, Messages) or bool(block.messages)


def _blocks(sections: Sequence[Section]) -> Iterator[Block]:
    for section in sections:
        yield from section.blocks
        yield from _blocks(section.sections)


def _folded(sections: Sequence[Section]) -> Iterator[str]:
    for section in sections:
        if section.folded and section.seen:
            yield section.heading
        else:
            yield from (block.title for block in section.blocks if isinstance(block, Table | Messages) and block.folded)
            yield from _folded(section.sections)


def _section(sections: Sequence[Section], key: str) -> Section | None:
    for section in sections:
        found = section if section.key == key else _section(section.sections, key)
        if found is not None:
            return found
    return None
