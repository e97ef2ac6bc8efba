"""What a TOML file may hold: one language for rig files, calibration cards and scenarios.

A table of the file is a frozen dataclass whose fields are made by `key`; `Table` reads one, names every mistake with
its place, and describes itself to editors as JSON Schema (json-schema.org, draft 7).
"""

from host.schema.kinds import Anything, Choice, Kind, ListOf, Number, Pair, Place, Points, Quantity, Text, Whole, YesNo
from host.schema.table import Group, Key, Table, Tables, editor_schema, key

__all__ = [
    "Anything",
    "Choice",
    "Group",
    "Key",
    "Kind",
    "ListOf",
    "Number",
    "Pair",
    "Place",
    "Points",
    "Quantity",
    "Table",
    "Tables",
    "Text",
    "Whole",
    "YesNo",
    "editor_schema",
    "key",
]
