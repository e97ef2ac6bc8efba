"""The text of a rig file from its tables: keys in the order of RIG_FILE.md, each with what it means behind it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomli_w

from host.rig.tables import RIG
from host.schema.table import Table, Tables

_HEAD = "# One sprayer. Values carry their unit, in quotes; any unit of the right kind does.\n"
_BESIDE = 34  # where the meanings begin


def format_rig(tree: Mapping[str, Any]) -> str:
    """The text; `tree` has the values as they stand in the file, by the names of the keys."""
    lines = [_HEAD.rstrip(), *_keys(RIG, tree)]
    for name, key in RIG.keys.items():
        if name not in tree:
            continue
        if isinstance(key.kind, Table):
            lines += ["", f"[{name}]  # {key.meaning}", *_keys(key.kind, tree[name])]
        elif isinstance(key.kind, Tables):
            for each in tree[name]:
                lines += ["", f"[[{name}]]", *_keys(key.kind.of, each)]
    return "\n".join(lines) + "\n"


def _keys(table: Table[Any], values: Mapping[str, Any]) -> list[str]:
    return [
        f"{f'{name} = {_value(values[name])}':{_BESIDE}}  # {_plain(key.meaning)}"
        for name, key in table.keys.items()
        if name in values and not isinstance(key.kind, Table | Tables)
    ]


def _value(value: Any) -> str:
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    return tomli_w.dumps({"k": value}).removeprefix("k = ").rstrip("\n")


def _plain(meaning: str) -> str:
    return meaning.replace('`"', '"').replace('"`', '"').replace("`", "'")
