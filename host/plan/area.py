"""Areas of lawns from what a tape gives."""

from __future__ import annotations

import math
import re

from host.errors import UserError
from host.units import parse_quantity


def parse_area(text: str, where: str) -> float:
    """Area (m²) from "5000 ft2", "60 ft x 25 ft", "circle 80 ft" (diameter) or "triangle 30 ft x 26 ft" (base, height).

    Raises UserError naming `where`.
    """
    found = re.fullmatch(r"\s*(?:(circle|triangle|rectangle)\s+)?(.+?)(?:\s+[x×]\s+(.+))?\s*", text)
    if found is None:
        raise UserError(f'{where} is "{text}": give an area such as "5000 ft2" or "60 ft x 25 ft".')
    shape, first, second = found.groups()
    if shape is None and second is None:
        area = parse_quantity(first, "area", where)
    elif shape == "circle" and second is None:
        area = math.pi / 4 * parse_quantity(first, "length", where) ** 2
    elif shape != "circle" and second is not None:
        sides = parse_quantity(first, "length", where) * parse_quantity(second, "length", where)
        area = sides / 2 if shape == "triangle" else sides
    else:
        raise UserError(
            f'{where} is "{text}": a circle has one length, its diameter; other shapes two, such as "60 ft x 25 ft".'
        )
    if not area > 0:
        raise UserError(f'{where} is "{text}", which is no area above zero: measure it again.')
    return area
