"""What was typed into the fields of a plan, as options of a command or as entries of a page, read in one way."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

from host.entries import Entries, above_zero
from host.errors import BadInputError
from host.plan.fields import Field
from host.unit_text import dimension_of, parse_quantity, read_quantity
from host.units import GALLON_M3, POUND_KG

T = TypeVar("T")

# lb/gal of water, as the tables for liquids heavier than water have it: "Setting the Sprayer Flow Rate for Non-Water
# Solutions", University of Nebraska-Lincoln, 2016.
WATER_KG_M3 = 8.34 * POUND_KG / GALLON_M3
_LIGHTEST, _HEAVIEST = 0.5, 2.0
# SI; wide enough for anything that is meant, narrow enough for numbers that can be shown.
_PLAUSIBLE = {
    "rate": (1e-8, 0.1),  # 0.1 L/ha to 1,000,000 L/ha
    "speed": (1e-3, 100.0),
    "pressure": (10.0, 1e8),
    "flow": (1e-9, 0.1),
    "length": (1e-3, 1e5),
    "time": (0.01, 1e6),
    "volume": (1e-7, 1e3),
}


class Answers:
    """What was typed into the fields of a plan, None where nothing was.

    Mistakes are collected, so that all are seen at once; `check` raises them. On the command line an empty text is a
    mistake (a variable of a script that was not set), on a page an empty field is none. `of` tells several such forms
    apart in messages.
    """

    def __init__(
        self, fields: Sequence[Field], typed: Mapping[str, str | None], *, command: bool = False, of: str = ""
    ) -> None:
        self._names = {field.name: (field.option if command else field.label) + of for field in fields}
        self._entries = Entries(typed)
        for name, text in typed.items():
            if command and text is not None and not text.strip():
                self._entries.sentences[name] = f"{self.where(name)} is empty: leave it out or give one."

    def where(self, name: str) -> str:
        """How a message names a field."""
        return self._names[name]

    def given(self, name: str) -> bool:
        """Whether anything was typed there."""
        return self._entries.given(name)

    def read(self, name: str, reader: Callable[[str, str], T]) -> T | None:
        """What `reader` makes of the text and the name for messages; None when it is empty or wrong."""
        return self._entries.read(name, lambda text: reader(text, self.where(name)))

    def need(self, name: str, reader: Callable[[str, str], T], missing: str) -> T | None:
        """The same; an empty field is wrong, `missing` says so."""
        if not self.given(name):
            self.wrong(name, missing)
            return None
        return self.read(name, reader)

    def quantity(self, name: str, kind: str) -> float | None:
        """A quantity above zero, in SI, and of a size that has to do with a small sprayer."""
        return self.read(name, lambda text, where: _plausible(text, kind, where))

    def wrong(self, name: str, message: str) -> None:
        """Note a mistake, unless there is one already."""
        self._entries.sentences.setdefault(name, message)

    def check(self) -> None:
        """Raises WrongEntriesError when a field could not be read."""
        self._entries.check()


def is_plausible(value: float, kind: str) -> bool:
    """Whether a size (SI) has to do with a small sprayer."""
    least, most = _PLAUSIBLE[kind]
    return least <= value <= most


def _plausible(text: str, kind: str, where: str) -> float:
    value = above_zero(kind, where)(text)
    if not is_plausible(value, kind):
        raise BadInputError(f'{where} is "{text}", which no small sprayer has to do with: check number and unit.')
    return value


def parse_density(text: str, where: str) -> float:
    """Specific gravity (water is 1) from a density ("1.28 kg/L", "10.65 lb/gal") or a gravity ("1.28").

    Raises UserError.
    """
    wanted = 'the density of the spray, such as "1.28 kg/L", "10.65 lb/gal" or "1.28" (water is 1)'
    reading = read_quantity(text, where, wanted)
    if reading.units and reading.dimension == dimension_of("[mass] / [length] ** 3"):
        gravity = parse_quantity(text, "density", where) / WATER_KG_M3
    elif not reading.units:
        gravity = reading.value
    else:
        raise BadInputError(f'{where} is "{text}": give {wanted}.')
    if not _LIGHTEST <= gravity <= _HEAVIEST:
        raise BadInputError(f'{where} is "{text}", which no spray has: give {wanted}.')
    return gravity


def parse_share(text: str, where: str, most: float) -> float:
    """A share from 0 to `most`, such as "20 %". Raises UserError."""
    value = parse_quantity(text, "fraction", where)
    if not 0 <= value <= most:
        raise BadInputError(f'{where} is "{text}": give 0 to {100 * most:.0f} %.')
    return value
