"""Options of a command that are fields of a form."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from host.errors import BadInputError

if TYPE_CHECKING:
    from host.plan.fields import Field

T = TypeVar("T")


def field_help(field: Field) -> str:
    """The help of a field's option, with examples of both systems of units."""
    examples = " or ".join(f'"{text}"' for text in dict.fromkeys((field.us, field.metric)) if text)
    values = ", ".join(value for value, _ in field.choices)
    return (field.help + (f", such as {examples}" if examples else "") + (f": {values}" if values else "")).replace(
        "%", "%%"
    )


def field_metavar(field: Field) -> str:
    """What to give: the quantity, or text."""
    return "WORD" if field.choices else quantity_metavar(field.kind)


def quantity_metavar(quantity: str) -> str:
    """The name of a quantity, or text where there is none."""
    return {"": "TEXT", "width": "LENGTH"}.get(quantity, quantity.upper())


def answered(work: Callable[[], T]) -> T:
    """What `work` gives; its wrong entries as one message. Raises UserError."""
    from host.entries import WrongEntriesError

    try:
        return work()
    except WrongEntriesError as wrong:
        raise BadInputError(" ".join(wrong.sentences.values())) from None
