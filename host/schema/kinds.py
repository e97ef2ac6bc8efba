"""The kinds of value that a TOML file may hold: how each is read, named, and described to an editor."""

from __future__ import annotations

import itertools
import math
import re
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Any

from host.errors import BadInputError, suggestion
from host.unit_text import KINDS as TYPED
from host.units import UNITS, parse_quantity, to_user


@dataclass(frozen=True)
class Place:
    """Where a value is, as messages name it: "tank.volume in rig file x.toml"."""

    file: str
    path: str = ""

    def __str__(self) -> str:
        return f"{self.path} in {self.file}" if self.path else self.file

    def key(self, name: str) -> Place:
        """A key of the table that is here."""
        return Place(self.file, f"{self.path}.{name}" if self.path else name)

    def row(self, number: int) -> Place:
        """A row of the list that is here, the first being 1."""
        return Place(self.file, f"{self.path} row {number}")

    def table(self, number: int) -> Place:
        """A table of the list of tables that is here, the first being 1."""
        return Place(self.file, f"{self.path} {number}")


_NUMBER = re.compile(r"^[\d\s.,/+\-½¼¾⅓⅔⅛⅜⅝⅞\u202f\u2009]+")


class Kind(ABC):
    """How one value is written. `name` is its name on the pages that explain the files."""

    name: str

    @abstractmethod
    def read(self, value: Any, place: Place) -> Any:
        """The value, checked; quantities as SI floats. Raises BadInputError naming `place`."""

    @abstractmethod
    def json_schema(self) -> dict[str, Any]:
        """What an editor should know of it."""

    @property
    def example(self) -> str:
        """A value as it may be written in the file."""
        return "1"


def _within(number: float, low: float, high: float, shown: object, place: Place, unit: str = "") -> None:
    """Raises BadInputError for a number beyond its limits, which are told in the unit that was typed."""
    if not low <= number <= high:
        kind = UNITS["metric"].get(unit)
        ends = [low, high] if kind is None else [to_user(end, unit, "metric") for end in (low, high)]
        typed = _in_typed_unit(str(shown).strip('"'), unit, (low, high)) if unit else []
        first, last = typed or (
            f"{end:.6g}" if kind is None else f"{float(f'{end:.3g}'):,.12g} {kind.symbol}" for end in ends
        )
        limits = f"{first} or more" if math.isinf(high) else f"between {first} and {last}"
        raise BadInputError(f"{place} is {shown}, outside the plausible range: it must be {limits}.")


def _in_typed_unit(text: str, kind: str, ends: tuple[float, float]) -> list[str]:
    """Limits (SI) in the unit that a quantity was typed in; none where that does not go by a factor."""
    unit = _NUMBER.sub("", text).strip()
    try:
        one, two = (parse_quantity(f"{number} {unit}", kind, "") for number in (1, 2))
    except BadInputError:
        return []
    if not unit or not math.isclose(two, 2 * one):
        return []
    return [f"{float(f'{end / one:.3g}'):,.12g} {unit}" for end in ends]


def _limits(low: float, high: float) -> dict[str, float]:
    return {name: end for name, end in (("minimum", low), ("maximum", high)) if math.isfinite(end)}


@dataclass(frozen=True)
class Quantity(Kind):
    """Text with a unit; `name` is a kind of host.unit_text, the limits are in SI.

    A `bare` one may also be written as a plain number in SI, such as 0.9 for "90 %".
    """

    name: str
    low: float = 0.0
    high: float = math.inf
    bare: bool = False

    def read(self, value: Any, place: Place) -> float:
        if self.bare and isinstance(value, int | float) and not isinstance(value, bool):
            number = Number().read(value, place)
        else:
            number = parse_quantity(value, self.name, str(place))
        shown = f'"{value}"' if isinstance(value, str) else value
        _within(number, self.low, self.high, shown, place, self.name)
        return number

    def json_schema(self) -> dict[str, Any]:
        text = {"type": "string", "pattern": "[0-9]", "examples": [TYPED[self.name].example]}
        return {"anyOf": [text, {"type": "number"} | _limits(self.low, self.high)]} if self.bare else text

    @property
    def example(self) -> str:
        return f'"{TYPED[self.name].example}"'


@dataclass(frozen=True)
class Number(Kind):
    """A number without a unit."""

    low: float = -math.inf
    high: float = math.inf
    name: str = "number"

    def read(self, value: Any, place: Place) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not _is_finite(value):
            raise BadInputError(f"{place} is {value!r}: write a number, without quotes or unit.")
        _within(value, self.low, self.high, value, place)
        return float(value)

    def json_schema(self) -> dict[str, Any]:
        return {"type": "number"} | _limits(self.low, self.high)


@dataclass(frozen=True)
class Whole(Kind):
    """A whole number."""

    low: int = 0
    high: float = math.inf
    name: str = "whole number"

    def read(self, value: Any, place: Place) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not _is_finite(value):
            raise BadInputError(f"{place} is {value!r}: write a whole number, without quotes or unit.")
        _within(value, self.low, self.high, value, place)
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "integer"} | _limits(self.low, self.high)


def _is_finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number of hundreds of digits
        return False


@dataclass(frozen=True)
class YesNo(Kind):
    """true or false."""

    name: str = "yes/no"

    def read(self, value: Any, place: Place) -> bool:
        if not isinstance(value, bool):
            raise BadInputError(f"{place} is {value!r}: write true or false, without quotes.")
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "boolean"}

    @property
    def example(self) -> str:
        return "true"


@dataclass(frozen=True)
class Text(Kind):
    """One line of text, of characters in `pattern`."""

    longest: int = 80
    pattern: str = ""
    shape: str = "text of 1 to 80 characters"
    name: str = "name"

    def read(self, value: Any, place: Place) -> str:
        text = value.strip() if isinstance(value, str) else ""
        fits = 0 < len(text) <= self.longest and text.isprintable() and re.fullmatch(self.pattern or ".*", text)
        if not fits:
            raise BadInputError(f"{place} is {value!r}: write {self.shape}, in quotes.")
        return text

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": f"^{self.pattern}$" if self.pattern else r"\S"}

    @property
    def example(self) -> str:
        return '"My sprayer"'


@dataclass(frozen=True)
class Choice(Kind):
    """One word of a few."""

    words: tuple[str, ...]
    name: str = "word"

    def read(self, value: Any, place: Place) -> str:
        if not isinstance(value, str) or value not in self.words:
            few = " or ".join(f'"{word}"' for word in self.words) if len(self.words) < 4 else ""
            raise BadInputError(f"{place} is {value!r}: {f'write {few}.' if few else suggestion(value, self.words)}")
        return value

    @property
    def example(self) -> str:
        return f'"{self.words[0]}"'

    def json_schema(self) -> dict[str, Any]:
        return {"enum": list(self.words)}


@dataclass(frozen=True)
class Pair(Kind):
    """Two quantities that rise: [lower, upper]."""

    of: Quantity

    @property
    def name(self) -> str:  # type: ignore[override]
        return f"pair of {self.of.name}"

    def read(self, value: Any, place: Place) -> tuple[float, float]:
        if not isinstance(value, list | tuple) or len(value) != 2:
            raise BadInputError(
                f"{place} must be a list of two: the lower and the upper {self.of.name}, each in quotes."
            )
        low, high = (self.of.read(end, place.row(number)) for number, end in enumerate(value, 1))
        if not low < high:
            raise BadInputError(f"{place} must rise: the first {self.of.name} is not below the second.")
        return low, high

    def json_schema(self) -> dict[str, Any]:
        return {"type": "array", "items": self.of.json_schema(), "minItems": 2, "maxItems": 2}

    @property
    def example(self) -> str:
        return f"[{self.of.example}, {self.of.example}]"


@dataclass(frozen=True)
class Points(Kind):
    """A table of pairs in which the first quantity rises."""

    first: Quantity
    second: Quantity
    longest: int = 50

    @property
    def name(self) -> str:  # type: ignore[override]
        return f"table of {self.first.name}, {self.second.name}"

    def read(self, value: Any, place: Place) -> tuple[tuple[float, float], ...]:
        shape = f"a list of [{self.first.name}, {self.second.name}] pairs".replace("_", " ")
        if not isinstance(value, list) or not 1 <= len(value) <= self.longest:
            raise BadInputError(f"{place} must be {shape}, 1 to {self.longest} of them.")
        rows: list[tuple[float, float]] = []
        for number, row in enumerate(value, start=1):
            if not isinstance(row, list) or len(row) != 2:
                raise BadInputError(f"{place.row(number)} must be one pair: the key is {shape}.")
            rows.append((self.first.read(row[0], place.row(number)), self.second.read(row[1], place.row(number))))
        for number, (before, after) in enumerate(itertools.pairwise(rows), start=2):
            if after[0] <= before[0]:
                raise BadInputError(
                    f"{place.row(number)} does not rise: order the rows by {self.first.name}, each once."
                )
        return tuple(rows)

    def json_schema(self) -> dict[str, Any]:
        either = {"anyOf": [self.first.json_schema(), self.second.json_schema()]}
        row = {"type": "array", "items": either, "minItems": 2, "maxItems": 2}
        return {"type": "array", "items": row, "minItems": 1, "maxItems": self.longest}


@dataclass(frozen=True)
class ListOf(Kind):
    """A list of values of one kind."""

    of: Kind
    least: int = 1

    @property
    def name(self) -> str:  # type: ignore[override]
        return f"list of {self.of.name}"

    def read(self, value: Any, place: Place) -> tuple[Any, ...]:
        if not isinstance(value, list) or len(value) < self.least:
            raise BadInputError(f"{place} is {value!r}: write a list in square brackets, with something in it.")
        return tuple(self.of.read(item, place.row(number)) for number, item in enumerate(value, start=1))

    def json_schema(self) -> dict[str, Any]:
        return {"type": "array", "items": self.of.json_schema(), "minItems": self.least}


@dataclass(frozen=True)
class Anything(Kind):
    """A value that is read later, when what else is in the table is known."""

    name: str = "any"

    def read(self, value: Any, place: Place) -> Any:
        del place
        return value

    def json_schema(self) -> dict[str, Any]:
        return {}
