"""Tables that explain themselves: descriptors by the Data Package standard (datapackage.org, version 2).

Any program reads them as JSON; `unit` and `swardflow` are keys of our own, which the standard allows.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from host.review.fields import Field

ENDING = ".datapackage.json"


def table_schema(fields: Sequence[Field], primary_key: Sequence[str] = ()) -> dict[str, Any]:
    """A Table Schema."""
    described = []
    for field in fields:
        one: dict[str, Any] = {"name": field.name, "type": field.type, "description": field.meaning}
        if field.unit:
            one["unit"] = field.unit
        if field.type == "boolean":
            one |= {"trueValues": ["True"], "falseValues": ["False"]}
        described.append(one)
    return {"fields": described, "missingValues": [""]} | ({"primaryKey": list(primary_key)} if primary_key else {})


def package(name: str, title: str, resources: Iterable[Mapping[str, Any]], about: Mapping[str, Any]) -> dict[str, Any]:
    """A descriptor; `about` is what only Swardflow knows how to say."""
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": name,
        "title": title,
        "resources": [dict(resource) for resource in resources],
        "swardflow": dict(about),
    }


def json_bytes(tree: Mapping[str, Any]) -> bytes:
    """JSON in UTF-8; half characters, which a damaged file may hold, as the escapes that JSON has for them."""
    return json.dumps(tree, ensure_ascii=False, allow_nan=False, indent=1).encode("utf-8", "backslashreplace")
