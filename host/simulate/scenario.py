"""Scenario files: what is sprayed with which rig, how, and what goes wrong. SCENARIO.md explains every key."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, fields
from itertools import pairwise
from pathlib import Path
from typing import Any

from host.errors import BadInputError, DamagedFileError, NotFoundError
from host.rig import Rig, load_rig
from host.simulate import settings
from host.simulate.disturbances import FOR_EVER, KINDS, Disturbance
from host.toml_text import toml_tree
from host.units import parse_quantity

PACKAGED = Path(__file__).with_name("scenarios")
_EXAMPLE_RIGS = Path(__file__).parents[1] / "rig" / "examples"
TOP_KEYS = {
    "title": "one line for --list",
    "seed": "whole number from which all randomness comes",
    "rig": "a rig file beside the scenario, or the name of an example rig",
    "duration": "time after which the run is cut off; default: when the walk is over",
}
DISTURBANCE_KEYS = {
    "kind": "what happens: see the table of kinds",
    "at": "time after the start of the run, or of the pass when `pass` is given",
    "pass": "number of the pass in which it happens",
    "amount": "how much: see the table of kinds",
    "nozzles": "how many nozzles (clog, wear, lost_tip); default 1",
    "over": "time in which it grows to its full amount; default at once",
    "lasts": "time after which it is over; default never",
}
_NOZZLE_KINDS = ("clog", "wear", "lost_tip")
_MUST_END = ("stand", "board_reset", "link_stall", "unplug")


@dataclass(frozen=True)
class Scenario:
    """A whole scenario, checked. The tables are those of host.simulate.settings."""

    rig: Rig
    seed: int = 1
    title: str = ""
    duration_s: float | None = None
    walk: settings.WalkSettings = field(default_factory=settings.WalkSettings)
    pump: settings.PumpSettings = field(default_factory=settings.PumpSettings)
    regulator: settings.RegulatorSettings = field(default_factory=settings.RegulatorSettings)
    ground: settings.GroundSettings = field(default_factory=settings.GroundSettings)
    meter: settings.MeterSettings = field(default_factory=settings.MeterSettings)
    transducer: settings.TransducerSettings = field(default_factory=settings.TransducerSettings)
    wheel: settings.WheelSettings = field(default_factory=settings.WheelSettings)
    board: settings.BoardSettings = field(default_factory=settings.BoardSettings)
    link: settings.LinkSettings = field(default_factory=settings.LinkSettings)
    disturbances: tuple[Disturbance, ...] = ()


def packaged_scenarios() -> dict[str, str]:
    """Name and title of each scenario that comes with Swardflow."""
    titles = {}
    for path in sorted(PACKAGED.glob("*.toml")):
        titles[path.stem] = str(tomllib.loads(path.read_text(encoding="utf-8")).get("title", ""))
    return titles


def load_scenario(name: str) -> Scenario:
    """The scenario in the file `name`, or the packaged one of that name.

    Raises UserError naming file and key.
    """
    path = Path(name)
    if path.suffix != ".toml" and not path.exists():
        path = PACKAGED / f"{name}.toml"
        if not path.exists():
            known = ", ".join(packaged_scenarios())
            raise NotFoundError(f"no scenario '{name}': give the path of a .toml file or one of {known}")
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise DamagedFileError(f"scenario {path} cannot be read: {error.strerror}; check the path") from None
    except UnicodeDecodeError:
        raise DamagedFileError(f"scenario {path} is not UTF-8 text; save it as UTF-8") from None
    return scenario_from_toml(text, path.name, path.parent)


def scenario_from_toml(text: str, where: str = "scenario", folder: Path = Path()) -> Scenario:
    """The scenario in `text`; `where` names it in errors, `folder` is where its rig file is looked for.

    Raises UserError naming key and remedy.
    """
    content = toml_tree(text, where, "mend it there")
    _known(content, [*TOP_KEYS, *settings.TABLES, "disturbance"], where)
    if "rig" not in content:
        raise BadInputError(f"{where}: rig is missing; name a rig file or an example rig")
    tables = {
        name: _read_table(kind, content.get(name, {}), f"{where}: {name}") for name, kind in settings.TABLES.items()
    }
    duration = content.get("duration")
    return Scenario(
        rig=_rig(_text(content["rig"], f"{where}: rig"), where, folder),
        seed=int(_value("integer", content.get("seed", 1), f"{where}: seed")),
        title=_text(content.get("title", ""), f"{where}: title"),
        duration_s=None if duration is None else _ranged("time", duration, 0.5, 1e6, f"{where}: duration"),
        disturbances=_disturbances(content.get("disturbance", []), where),
        **tables,
    )


def _rig(name: str, where: str, folder: Path) -> Rig:
    if name.endswith(".toml"):
        return load_rig(folder / name)
    path = _EXAMPLE_RIGS / f"{name}.toml"
    if not path.exists():
        known = ", ".join(sorted(p.stem for p in _EXAMPLE_RIGS.glob("*.toml")))
        raise NotFoundError(f"{where}: rig: no example rig '{name}'; give a .toml file or one of {known}")
    return load_rig(path)


def _known(table: Any, keys: Iterable[str], where: str) -> None:
    if not isinstance(table, dict):
        raise BadInputError(f"{where} must be a table of keys, not {table!r}")
    for unknown in table.keys() - set(keys):
        near = difflib.get_close_matches(unknown, list(keys), 1)
        hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(keys)}"
        raise BadInputError(f"{where}: unknown key '{unknown}'; {hint}")


def _read_table(kind: type[Any], table: Any, where: str) -> Any:
    spec = {f.metadata["key"]: f for f in fields(kind)}
    _known(table, list(spec), where)
    values = {}
    for name, value in table.items():
        meta = spec[name].metadata
        values[spec[name].name] = _ranged(meta["kind"], value, meta["low"], meta["high"], f"{where}.{name}")
    return kind(**values)


def _ranged(kind: str, value: Any, low: float | None, high: float | None, where: str) -> Any:
    result = _value(kind, value, where)
    for number in result if isinstance(result, tuple) else (result,):
        if low is not None and not isinstance(number, (str, tuple)) and not low <= number <= (high or math.inf):
            raise BadInputError(
                f"{where}: '{value}' is out of range; it must lie between {low:g} and {high:g} in SI units"
            )
    return result


def _value(kind: str, value: Any, where: str) -> Any:
    reader = _READERS.get(kind)
    if reader is not None:
        return reader(value, where)
    if isinstance(value, (int, float)) and not isinstance(value, bool) and kind == "fraction":
        value = f"{value * 100!r} %"
    return parse_quantity(_text(value, where), kind, where)


def _text(value: Any, where: str) -> str:
    if not isinstance(value, str):
        raise BadInputError(f"{where}: {value!r} must be text in quotes, with its unit if it is a quantity")
    return value


def _board_name(value: Any, where: str) -> str:
    name = _text(value, where)
    if not re.fullmatch(r"[a-z0-9-]{1,16}", name):  # as PROTOCOL.md has it
        raise BadInputError(f"{where}: '{name}' must be 1 to 16 of a-z, 0-9 and -")
    return name


def _integer(value: Any, where: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise BadInputError(f"{where}: {value!r} must be a whole number from 0 up")
    return value


def _number(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise BadInputError(f"{where}: {value!r} must be a number")
    return float(value)


def _list(value: Any, where: str) -> list[Any]:
    if not isinstance(value, list) or not value:
        raise BadInputError(f"{where}: {value!r} must be a list in square brackets with something in it")
    return value


def _fractions(value: Any, where: str) -> tuple[float, ...]:
    return tuple(_value("fraction", item, where) for item in _list(value, where))


def _integers(value: Any, where: str) -> tuple[int, ...]:
    return tuple(_integer(item, where) for item in _list(value, where))


def _deviations(value: Any, where: str) -> tuple[tuple[float, float], ...]:
    points = []
    for item in _list(value, where):
        if not isinstance(item, list) or len(item) != 2:
            raise BadInputError(f'{where}: each point must be a pair such as ["40 Hz", "-1.5 %"], not {item!r}')
        frequency = parse_quantity(_text(item[0], where), "frequency", where)
        points.append((frequency, _ranged("fraction", item[1], -0.5, 0.5, where)))
    if any(later[0] <= earlier[0] for earlier, later in pairwise(points)):
        raise BadInputError(f"{where}: the frequencies must rise from point to point")
    return tuple(points)


_READERS: dict[str, Callable[[Any, str], Any]] = {
    "board name": _board_name,
    "integer": _integer,
    "number": _number,
    "fractions": _fractions,
    "integers": _integers,
    "deviations": _deviations,
}


def _disturbances(items: Any, where: str) -> tuple[Disturbance, ...]:
    if not isinstance(items, list):
        raise BadInputError(f"{where}: disturbances are written as [[disturbance]] tables")
    return tuple(_disturbance(item, f"{where}: disturbance {number}") for number, item in enumerate(items, 1))


def _disturbance(item: Any, where: str) -> Disturbance:
    _known(item, list(DISTURBANCE_KEYS), where)
    name = item.get("kind")
    if not isinstance(name, str) or name not in KINDS:
        near = difflib.get_close_matches(str(name), list(KINDS), 1)
        hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(KINDS)}"
        raise BadInputError(f"{where}: there is no kind '{name}'; {hint}")
    if "at" not in item:
        raise BadInputError(f"{where}: at is missing; say when it begins")
    for key, allowed in (("nozzles", name in _NOZZLE_KINDS), ("amount", KINDS[name].amount is not None)):
        if key in item and not allowed:
            raise BadInputError(f"{where}: {key} has no meaning for '{name}'; leave it out")
    if name in _MUST_END and "lasts" not in item:
        raise BadInputError(f"{where}: lasts is missing; '{name}' must end some time")
    return Disturbance(
        kind=name,
        at_s=_ranged("time", item["at"], 0, 1e6, f"{where}.at"),
        pass_number=_integer(item["pass"], f"{where}.pass") if "pass" in item else None,
        amount=_amount(name, item.get("amount"), where),
        nozzles=_integer(item.get("nozzles", 1), f"{where}.nozzles"),
        over_s=_ranged("time", item["over"], 0, 1e6, f"{where}.over") if "over" in item else 0.0,
        lasts_s=_ranged("time", item["lasts"], 0.001, 1e6, f"{where}.lasts") if "lasts" in item else FOR_EVER,
    )


def _amount(name: str, value: Any, where: str) -> float:
    kind = KINDS[name]
    if kind.amount is None:
        return 1.0
    if value is None:
        if kind.default is None:
            raise BadInputError(f"{where}: amount is missing; say how much")
        return kind.default
    return float(_value(kind.amount, value, f"{where}.amount"))
