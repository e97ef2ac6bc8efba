"""A document for machines: every key of a quantity carries its unit, and means one thing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from host.documents.document import Block, Document, Facts, Message, Messages, Quantity, Section, Table, Value


def to_json(document: Document) -> dict[str, Any]:
    """`document` ready for `json.dumps(..., allow_nan=False)`.

    A quantity stands under its key and unit ("rate_gal_per_1000_ft2", None when not known), its ± of 95 % where there
    is one under the key, "expanded_uncertainty" and the unit. A table is a list of objects, messages are a list of
    kind, level and text; plots are left out. Raises ValueError when a key would stand twice in one object.
    """
    out = _Keys(kind=document.kind, title=document.title, answer=document.answer, level=document.level)
    _put_sections(out, document.sections)
    return out


class _Keys(dict[str, Any]):
    """A dict in which no key is put twice, but for messages: those under one key are one list."""

    def __init__(self, **given: Any) -> None:
        super().__init__(given)
        self._lists: dict[str, list[dict[str, str]]] = {}

    def put(self, key: str, value: Any) -> None:
        if key in self:
            raise ValueError(f"two values have the JSON key {key!r}")
        self[key] = value

    def put_messages(self, block: Messages) -> None:
        if block.key not in self._lists:
            self._lists[block.key] = []
            self.put(block.key, self._lists[block.key])
        self._lists[block.key] += map(_message, block.messages)

    def put_value(self, key: str, value: Value) -> None:
        if not isinstance(value, Quantity):
            self.put(
                key, finite(value) if isinstance(value, float) else list(value) if isinstance(value, tuple) else value
            )
            return
        self.put(_joined(key, value.slug), finite(value.value))
        if value.expanded is not None:
            self.put(_joined(key, "expanded_uncertainty", value.slug), finite(value.expanded))


def _put_sections(out: _Keys, sections: Sequence[Section]) -> None:
    for section in sections:
        if section.listed:
            _put_blocks(out, section.blocks)
            out.put(section.key, [_inner(inner) for inner in section.sections])
        elif section.key:
            out.put(section.key, _inner(section))
        else:
            _put_blocks(out, section.blocks)
            _put_sections(out, section.sections)


def _inner(section: Section) -> _Keys:
    out = _Keys()
    _put_blocks(out, section.blocks)
    _put_sections(out, section.sections)
    return out


def _put_blocks(out: _Keys, blocks: Sequence[Block]) -> None:
    for block in blocks:
        if isinstance(block, Facts):
            place = out
            if block.key:
                place = _Keys()
                out.put(block.key, place)
            for fact in block.facts:
                if fact.key:
                    place.put_value(fact.key, fact.value)
        elif isinstance(block, Table) and block.key:
            out.put(block.key, [row_keys(block, row) for row in block.rows])
        elif isinstance(block, Messages) and block.key:
            out.put_messages(block)


def row_keys(table: Table, row: Sequence[Value]) -> dict[str, Any]:
    """One row of a table as an object."""
    out = _Keys()
    for column, value in zip(table.columns, row, strict=True):
        if column.key:
            out.put_value(column.key, value)
    return out


def _message(message: Message) -> dict[str, str]:
    kind = {"kind": message.key} if message.key else {}
    return {**kind, "level": message.level, "text": message.text}


def _joined(*words: str) -> str:
    return "_".join(word for word in words if word)


def finite(value: float | None) -> float | None:
    """What is not a number is not known: None."""
    return value if value is not None and math.isfinite(value) else None
