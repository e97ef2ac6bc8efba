"""Plain numbers as people type them on the command line."""

from __future__ import annotations

from host.errors import BadInputError


def number(text: str, what: str) -> float:
    """A plain number. Raises UserError."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < float("inf"):
        raise BadInputError(f'{what} is "{text}": give a number, without a unit.')
    return value
