"""Areas of lawns from what a tape gives."""

from __future__ import annotations

import math
import re

from host.entries import above_zero
from host.errors import BadInputError

_EXAMPLES = '"5000 ft2", "60 x 25 ft" or "circle 80 ft"'
_SHAPE = re.compile(r"(?:(circle|triangle|rectangle)\s+)?(.+?)(?:\s*(?:[x×*]|\sby\s)\s*(?=[-\d.½¼¾])(.+))?")
_NUMBER_ALONE = re.compile(r"[\d., /½¼¾]+")


def parse_area(text: str, where: str) -> float:
    """Area (m²) from "5000 ft2", "60 x 25 ft", "circle 80 ft" (diameter) or "triangle 30 ft x 26 ft" (base, height).

    Several of them are added with "+". Raises UserError naming `where`.
    """
    if not text.strip():
        raise BadInputError(f"{where} is empty: give an area such as {_EXAMPLES}.")
    return math.fsum(_piece(piece, text, where) for piece in text.split("+"))


def _piece(piece: str, text: str, where: str) -> float:
    found = _SHAPE.fullmatch(piece.strip().lower().replace("′", "'").replace("’", "'"))
    if found is None:
        raise BadInputError(f'{where} is "{text}": give an area such as {_EXAMPLES}.')
    shape, first, second = found.groups()
    written = _as_written(piece, first), second and _as_written(piece, second)
    if shape is None and second is None:
        return above_zero("area", where)(written[0])
    length = above_zero("length", where)
    if shape == "circle" and second is None:
        return math.pi / 4 * length(written[0]) ** 2
    if shape != "circle" and second is not None:
        base, height = written
        if _NUMBER_ALONE.fullmatch(base):
            if not _unit_of(str(height)):
                raise BadInputError(f'{where} is "{text}" without a unit: write it like "60 x 25 ft".')
            base += _unit_of(str(height))
        sides = length(base) * length(str(height))
        return sides / 2 if shape == "triangle" else sides
    raise BadInputError(
        f'{where} is "{text}": a circle has one length, its diameter; other shapes two, such as "60 x 25 ft".'
    )


def _as_written(piece: str, part: str) -> str:
    """`part` with its capitals, which tell some units apart."""
    at = piece.lower().find(part)
    return piece[at : at + len(part)] if at >= 0 else part


def _unit_of(length: str) -> str:
    """The unit behind the number of a length, which is meant for the length before it, too."""
    found = re.search(r"[a-zA-Z'\"].*", length)
    return f" {found[0]}" if found else ""
