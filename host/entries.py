"""What was typed into named fields, on the command line or on a page: read together, one sentence for each mistake."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TypeVar

from host.documents.words import sentence
from host.errors import BadInputError, UserError
from host.units import parse_quantity

T = TypeVar("T")
_WHOLE = re.compile(r"[0-9]{1,10}|[1-9][0-9]{0,2}(?:[, \u202f][0-9]{3}){1,3}")  # thousands may stand apart


class WrongEntriesError(Exception):
    """Entries that cannot be used: `sentences` by the name of their field."""

    def __init__(self, sentences: Mapping[str, str]) -> None:
        super().__init__("; ".join(sentences.values()))
        self.sentences = dict(sentences)


class Entries:
    """Reads the fields of one form and collects a sentence for each that cannot be read, so that all are seen."""

    def __init__(self, typed: Mapping[str, str | None]) -> None:
        self._typed = typed
        self.sentences: dict[str, str] = {}

    def given(self, name: str) -> bool:
        """Whether anything was typed there."""
        return bool((self._typed.get(name) or "").strip())

    def read(self, name: str, reader: Callable[[str], T]) -> T | None:
        """What `reader` makes of a field; None when it is empty or wrong."""
        if not self.given(name):
            return None
        try:
            return reader((self._typed.get(name) or "").strip())
        except UserError as error:
            self.sentences[name] = sentence(str(error))
            return None

    def need(self, name: str, reader: Callable[[str], T], missing: str) -> T | None:
        """The same; an empty field is wrong, `missing` says so."""
        if not self.given(name):
            self.sentences[name] = missing
        return self.read(name, reader)

    def check(self) -> None:
        """Raises WrongEntriesError when a field could not be read."""
        if self.sentences:
            raise WrongEntriesError(self.sentences)


def read_whole(text: str, what: str) -> int:
    """A whole number, one or more, as a counter shows it. Raises UserError."""
    value = int(re.sub("[, \u202f]", "", text)) if _WHOLE.fullmatch(text) else 0
    if not value:
        raise BadInputError(f'{what}, "{text[:40]}": give a whole number above zero, such as 1043.')
    return value


def read_count(text: str, what: str) -> float:
    """Counts of a converter, zero or more, a mean may have decimals. Raises UserError."""
    if not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,4})?", text):
        raise BadInputError(f'{what} is "{text[:40]}": give a number, zero or more, such as 512.4.')
    return float(text)


def read_name(text: str, what: str) -> str:
    """A short name, on one line. Raises UserError."""
    name = " ".join(text.split())
    if not name.isprintable() or len(name) > 40:
        raise BadInputError(f"{what} is too long or holds what cannot be printed: give 40 characters or less.")
    return name


def above_zero(kind: str, what: str) -> Callable[[str], float]:
    """A reader of a quantity that must be above zero."""

    def read(text: str) -> float:
        value = parse_quantity(text, kind, what)
        if not value > 0:
            raise BadInputError(f'{what} is "{text}": give one above zero.')
        return value

    return read


def not_below_zero(kind: str, what: str) -> Callable[[str], float]:
    """A reader of a quantity that may be zero."""

    def read(text: str) -> float:
        value = parse_quantity(text, kind, what)
        if value < 0:
            raise BadInputError(f'{what} is "{text}": it cannot be below zero; correct it.')
        return value

    return read
