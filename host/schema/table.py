"""The tables of a TOML file: dataclasses that are read key by key, and described to editors."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from typing import Any, Generic, TypeVar, cast

from host.errors import BadInputError, suggestion
from host.schema.kinds import Anything, Kind, Place

T = TypeVar("T")


@dataclass(frozen=True)
class Group:
    """Keys that belong together: all of `needed`, and `also` where it is known."""

    needed: tuple[str, ...]
    also: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """All of them."""
        return self.needed + self.also


@dataclass(frozen=True)
class Key:
    """One key of a table. `written` is its default in the words of the file; `meaning` stands on its page."""

    kind: Kind
    meaning: str
    name: str
    attribute: str
    required: bool
    written: Any


def key(kind: Kind, meaning: str = "", *, name: str = "", written: Any = None, **default: Any) -> Any:
    """A field of a dataclass that is a table of a file.

    `name` is the key's name, by default the field's own. With `default` or `default_factory` (as the dataclass has it,
    in SI) or with `written` (in the words of the file) it may be left out.
    """
    metadata = {"kind": kind, "meaning": meaning, "name": name, "written": written}
    return field(metadata={"key": metadata}, **default)


class Table(Kind, Generic[T]):
    """A table that becomes a `made`, a dataclass whose fields were made by `key`.

    Of the groups in `one_of` exactly one must be there. `complete` may check and change the values
    that were given, by attribute, before the dataclass is made; it raises BadInputError.
    """

    name = "section"

    def __init__(
        self,
        made: type[T],
        *,
        one_of: tuple[Group, ...] = (),
        complete: Callable[[dict[str, Any], Place], None] | None = None,
    ) -> None:
        self._made, self._one_of, self._complete = made, one_of, complete
        self.keys: dict[str, Key] = {}
        for each in fields(cast(Any, made)):
            known = dict(each.metadata["key"])
            has_default = each.default is not MISSING or each.default_factory is not MISSING
            known["name"] = known["name"] or each.name
            required = not has_default and known["written"] is None
            self.keys[known["name"]] = Key(attribute=each.name, required=required, **known)

    def read(self, value: Any, place: Place) -> T:
        return self._made(**self.values(value, place))

    def values(self, value: Any, place: Place) -> dict[str, Any]:
        """The values by attribute, as `made` takes them; those left out are not in it, if `made` has a default."""
        if not isinstance(value, dict):
            raise BadInputError(f"{place} must be a section: write [{place.path}] on a line of its own.")
        self._check_names(value, place)
        self._check_groups(value, place)
        found: dict[str, Any] = {}
        for name, rule in self.keys.items():
            at = place.key(name)
            if name in value:
                if isinstance(value[name], dict) and not isinstance(rule.kind, Table | Tables | Anything):
                    above = "" if place.path else " at the top"
                    raise BadInputError(f"{at} is a section but must be a single value: write {name} = …{above}.")
                found[rule.attribute] = rule.kind.read(value[name], at)
            elif rule.written is not None:
                found[rule.attribute] = rule.kind.read(rule.written, at)
        if self._complete:
            self._complete(found, place)
        return found

    def _check_names(self, value: Mapping[str, Any], place: Place) -> None:
        for name in value:
            if name not in self.keys:
                what = "section" if isinstance(value[name], dict) else "key"
                known = suggestion(name, self.keys)
                raise BadInputError(f"{what} {place.key(name)} is unknown: {known}")
        missing = [rule for name, rule in self.keys.items() if rule.required and name not in value]
        for rule in sorted(missing, key=lambda rule: not isinstance(rule.kind, Table)):
            if isinstance(rule.kind, Table):
                keys = ", ".join(rule.kind.keys)
                raise BadInputError(f"section [{rule.name}] is missing in {place}: add it with its keys ({keys}).")
            raise BadInputError(
                f"{place.key(rule.name)} is missing: add it, such as {rule.name} = {rule.kind.example}."
            )

    def _check_groups(self, value: Mapping[str, Any], place: Place) -> None:
        there = [group for group in self._one_of if any(name in value for name in group.names)]
        shown = [" with ".join(self._shown(name) for name in group.needed) for group in (there or self._one_of)]
        if self._one_of and len(there) != 1:
            what = f"section [{place.path}] in {place.file}" if place.path else place.file
            has = f"both {' and '.join(shown)}: keep" if there else f"neither {' nor '.join(shown)}: give"
            raise BadInputError(f"{what} has {has} one of the two.")
        for group in there:
            for name in group.needed:
                if name not in value:
                    partner = next(other for other in group.names if other in value)
                    raise BadInputError(f"{place.key(name)} is missing: {partner} says nothing without it.")

    def _shown(self, name: str) -> str:
        return f"[{name}]" if isinstance(self.keys[name].kind, Table) else name

    def json_schema(self) -> dict[str, Any]:
        schema: dict[str, Any] = {"type": "object", "additionalProperties": False, "properties": {}}
        for name, rule in self.keys.items():
            own = rule.kind.json_schema()
            own |= {"description": rule.meaning} if rule.meaning else {}
            own |= {"default": rule.written} if rule.written is not None else {}
            schema["properties"][name] = own
        if required := [name for name, rule in self.keys.items() if rule.required]:
            schema["required"] = required
        if self._one_of:
            schema["oneOf"] = [
                {
                    "required": list(group.needed),
                    "properties": {name: False for other in self._one_of if other != group for name in other.names},
                }
                for group in self._one_of
            ]
        return schema


@dataclass(frozen=True)
class Tables(Kind):
    """A list of tables, each written as [[name]]."""

    of: Table[Any]
    most: int = 10_000
    name: str = "list of sections"

    def read(self, value: Any, place: Place) -> tuple[Any, ...]:
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise BadInputError(f"{place} must be one or more sections: write [[{place.path}]] before each.")
        if len(value) > self.most:
            raise BadInputError(f"{place} is there {len(value)} times: {self.most} are enough.")
        return tuple(self.of.read(item, place.table(number)) for number, item in enumerate(value, start=1))

    def json_schema(self) -> dict[str, Any]:
        return {"type": "array", "items": self.of.json_schema(), "maxItems": self.most}


def editor_schema(table: Table[Any], title: str) -> dict[str, Any]:
    """The JSON Schema of a whole file, for editors that complete and check TOML by one; draft 7, which most know."""
    return {"$schema": "http://json-schema.org/draft-07/schema#", "title": title} | table.json_schema()
