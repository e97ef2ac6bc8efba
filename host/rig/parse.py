"""Rig file text -> Rig, or one sentence that names the file, the key and what to do."""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal, cast

from host.errors import BadInputError, DamagedFileError, NotFoundError
from host.rig.keys import KEYS, REPEATED_SECTIONS, REQUIRED_SECTIONS, Key
from host.rig.model import Course, Meter, Nozzles, PressureSensor, Pump, Rig, Tank, Target, Tip, Wheel
from host.toml_text import toml_tree
from host.units import UNITS, format_value, parse_quantity, to_user

LARGEST_FILE = 100_000  # bytes; a rig file is about one thousand
LONGEST_TABLE = 50
FASTEST_M_S, SLOWEST_M_S = 15.0, 0.05


def load_rig(path: str | Path) -> Rig:
    """Read the rig file at `path`. Raises UserError when it cannot be read or does not describe a sprayer."""
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise DamagedFileError(f"rig file {path} is larger than {LARGEST_FILE} bytes: give the TOML file of a rig.")
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise NotFoundError(f"rig file {path} does not exist: give the path of a rig file.") from None
    except IsADirectoryError:
        raise NotFoundError(f"rig file {path} is a folder: give the path of a rig file in it.") from None
    except UnicodeDecodeError as error:
        raise DamagedFileError(
            f"rig file {path} is not UTF-8 text (byte {error.start}): save it as UTF-8 in your editor."
        ) from None
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise DamagedFileError(f"rig file {path} cannot be read ({reason}): check its permissions.") from None
    except ValueError:
        raise DamagedFileError(f"rig file {path} cannot be there (a zero byte in its name): check the name.") from None
    return rig_from_toml(text, where=f"rig file {path}")


def rig_from_toml(text: str, where: str = "rig file") -> Rig:
    """The rig that `text` describes; `where` names the file in sentences. Raises UserError."""
    tree = toml_tree(text, where, "mend it there (text values need quotes).")
    _check_names(tree, where)
    read = {name: _Section(name, tree.get(name), where) for name in KEYS if name and name not in REPEATED_SECTIONS}
    top = _Section("", {key: value for key, value in tree.items() if key in KEYS[""]}, where)
    nozzles = _nozzles(read["boom"], read["nozzle"])
    wheel, course = _wheel_or_course(read["wheel"], read["course"], where)
    swath_m = read["boom"].number("swath")
    return Rig(
        name=top.text("name"),
        units=cast(Literal["us", "metric"], top.text("units")),
        tank=Tank(read["tank"].sure("volume")),
        pump=_pump(read["pump"]) if read["pump"] else None,
        nozzles=nozzles,
        swath_m=swath_m if swath_m is not None else nozzles.count * nozzles.spacing_m,
        meter=_meter(read["meter"]),
        pressure=_pressure(read["pressure"]) if read["pressure"] else None,
        wheel=wheel,
        course=course,
        target=Target(read["target"].sure("rate"), read["target"].sure("band")),
        spray_switch=bool(top.raw("spray_switch")),
        toml=text,
        tips=_tips(tree.get("tip", []), nozzles, where),
    )


def parts_from_sections(tree: dict[str, Any], where: str) -> dict[str, Meter | PressureSensor | Wheel | Course]:
    """The calibrated parts of a rig from a TOML tree that has only their sections, as a calibration card does.

    Keys of the result are fields of Rig: meter, pressure, wheel, course. Raises UserError as for a rig file.
    """
    read = {
        name: _Section(name, tree[name], where) for name in ("meter", "pressure", "wheel", "course") if name in tree
    }
    for name, section in read.items():
        if not isinstance(section.values, dict):
            raise BadInputError(f"{name} in {where} must be a section: write [{name}] on a line of its own.")
        for key in section.values:
            _check_known(key, list(KEYS[name]), f"key {name}.{key} in {where}")
    readers: dict[str, Callable[[_Section], Meter | PressureSensor | Wheel | Course]] = {
        "meter": _meter,
        "pressure": _pressure,
        "wheel": _wheel,
        "course": _course,
    }
    return {name: readers[name](section) for name, section in read.items()}


class _Section:
    """One table of the file: gives its values checked, and knows how to name them."""

    def __init__(self, name: str, values: dict[str, Any] | None, where: str) -> None:
        self.name, self.values, self.where = name, values or {}, where
        self._there = values is not None or not name

    def __bool__(self) -> bool:
        return self._there

    def at(self, key: str) -> str:
        """How a sentence names one key."""
        return f"{self.name}.{key} in {self.where}" if self.name else f"{key} in {self.where}"

    def raw(self, key: str) -> Any:
        """The value as the file has it, or the default; None when left out. Type checked, not yet read."""
        rule = KEYS[self.name][key]
        if key not in self.values:
            if rule.required:
                raise BadInputError(f"{self.at(key)} is missing: add it, {_example(key, rule)}.")
            return rule.default
        value = self.values[key]
        if rule.kind == "yes/no" and not isinstance(value, bool):
            raise BadInputError(f"{self.at(key)} is {value!r}: write true or false, without quotes.")
        if rule.kind == "whole number" and (not isinstance(value, int) or isinstance(value, bool)):
            raise BadInputError(f"{self.at(key)} is {value!r}: write a whole number without quotes or unit.")
        if rule.kind == "whole number" and not rule.low <= value <= rule.high:
            raise BadInputError(f"{self.at(key)} is {value}: it must be between {rule.low:g} and {rule.high:g}.")
        return value

    def text(self, key: str) -> str:
        """A name, or one of the two systems of units."""
        value, kind = self.raw(key), KEYS[self.name][key].kind
        if not isinstance(value, str) or not value.strip() or len(value) > 80 or not value.isprintable():
            raise BadInputError(f"{self.at(key)} is {value!r}: write a name of 1 to 80 characters in quotes.")
        if kind == "system" and value not in ("us", "metric"):
            raise BadInputError(f'{self.at(key)} is "{value}": write "us" or "metric".')
        return value.strip()

    def number(self, key: str) -> float | None:
        """SI value of a quantity; None when the key was left out."""
        value, rule = self.raw(key), KEYS[self.name][key]
        return None if value is None else self._quantity(value, rule.kind, rule, self.at(key))

    def sure(self, key: str) -> float:
        """SI value of a quantity that is required or has a default."""
        return cast(float, self.number(key))

    def pair(self, key: str) -> tuple[float, float] | None:
        """Two rising SI values."""
        value, rule = self.raw(key), KEYS[self.name][key]
        if value is None:
            return None
        kind = rule.kind.removeprefix("pair of ")
        if not isinstance(value, list | tuple) or len(value) != 2:
            raise BadInputError(
                f"{self.at(key)} must be a list of two: the lower and the upper {kind}, each in quotes."
            )
        low, high = (self._quantity(one, kind, rule, f"{self.at(key)}, entry {n}") for n, one in enumerate(value, 1))
        if not low < high:
            raise BadInputError(f"{self.at(key)} must rise: the first {kind} is not below the second.")
        return low, high

    def table(self, key: str) -> tuple[tuple[float, float], ...] | None:
        """Rows of two SI values, the first rising."""
        value, rule = self.raw(key), KEYS[self.name][key]
        if value is None:
            return None
        first, second = rule.columns
        shape = f"a list of [{first.kind}, {second.kind.replace('_', ' ')}] pairs"
        if not isinstance(value, list) or not 1 <= len(value) <= LONGEST_TABLE:
            raise BadInputError(f"{self.at(key)} must be {shape}, 1 to {LONGEST_TABLE} of them.")
        rows = []
        for number, row in enumerate(value, start=1):
            if not isinstance(row, list) or len(row) != 2:
                raise BadInputError(f"{self.at(key)}, row {number}, must be one pair: the key is {shape}.")
            name = f"{self.at(key)}, row {number}"
            rows.append(
                (self._quantity(row[0], first.kind, first, name), self._quantity(row[1], second.kind, second, name))
            )
            if number > 1 and rows[-1][0] <= rows[-2][0]:
                raise BadInputError(f"{name}, does not rise: order the rows by {first.kind}, each once.")
        return tuple(rows)

    def _quantity(self, value: object, kind: str, rule: Key, at: str) -> float:
        number = parse_quantity(value, kind, at)
        if not rule.low <= number <= rule.high:
            unit = UNITS["metric"][kind].symbol
            low, high = (f"{to_user(limit, kind, 'metric'):.3g} {unit}" for limit in (rule.low, rule.high))
            raise BadInputError(f'{at} is "{value}", which is not believable: it must be between {low} and {high}.')
        return number


def _example(key: str, rule: Key) -> str:
    examples = {"name": 'name = "My sprayer"', "whole number": f"{key} = 4"}
    if rule.kind in examples:
        return f"such as {examples[rule.kind]}"
    return f"a {rule.kind.replace('_', ' ')} with its unit in quotes"


def _check_names(tree: dict[str, Any], where: str) -> None:
    for name, value in tree.items():
        is_table = isinstance(value, dict)
        if name in REPEATED_SECTIONS:
            if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
                raise BadInputError(f"{name} in {where} must be one or more sections: write [[{name}]] before each.")
            if len(value) > LONGEST_TABLE:
                raise BadInputError(f"{name} in {where} stands there {len(value)} times: {LONGEST_TABLE} are enough.")
            for key in dict.fromkeys(key for entry in value for key in entry):
                _check_known(key, list(KEYS[name]), f"key {name}.{key} in {where}")
        elif is_table and name in KEYS:
            for key in value:
                _check_known(key, list(KEYS[name]), f"key {name}.{key} in {where}")
        elif not is_table and name in KEYS:
            raise BadInputError(f"{name} in {where} must be a section: write [{name}] on a line of its own.")
        else:
            _check_known(
                name, [*KEYS[""], *(n for n in KEYS if n)], f"{'section' if is_table else 'key'} {name} in {where}"
            )
            if is_table:
                raise BadInputError(
                    f"{name} in {where} is a section but must be a single value: write {name} = … at the top."
                )
    for section in REQUIRED_SECTIONS:
        if section not in tree:
            keys = ", ".join(KEYS[section])
            raise BadInputError(f"section [{section}] is missing in {where}: add it with its keys ({keys}).")


def _check_known(name: str, known: list[str], what: str) -> None:
    if name not in known:
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"' if near else f"known here: {', '.join(known)}"
        raise BadInputError(f"{what} is unknown: {hint}?" if near else f"{what} is unknown ({hint}): take it out.")


def _pump(pump: _Section) -> Pump:
    points, open_flow, shutoff = pump.table("points"), pump.number("open_flow"), pump.number("shutoff_pressure")
    if (points is None) == (open_flow is None) or (points is not None and shutoff is not None):
        raise BadInputError(
            f"section [pump] in {pump.where} needs either points, or open_flow (with shutoff_pressure where it is "
            "known): give one of the two."
        )
    if points is not None and any(after[1] > before[1] for before, after in itertools.pairwise(points)):
        raise BadInputError(
            f"{pump.at('points')} must fall in flow as the pressure rises: check the row that does not."
        )
    ends = [(0.0, open_flow)] if open_flow is not None else []
    ends += [] if shutoff is None else [(shutoff, 0.0)]
    return Pump(points or tuple(ends), points is None and shutoff is not None, pump.number("switch_pressure"))


def _tip(section: _Section, name: str) -> Tip:
    flow, at, points = section.number("flow"), section.number("at"), section.table("points")
    if (points is None) == (flow is None and at is None):
        raise BadInputError(
            f"section [{section.name}] in {section.where} needs either flow and at, or points: give one of the two."
        )
    if points is None:
        if flow is None or at is None:
            missing, there = ("flow", "at") if flow is None else ("at", "flow")
            raise BadInputError(f"{section.at(missing)} is missing: {there} says nothing without it.")
        points = ((at, flow),)
    if any(after[1] <= before[1] for before, after in itertools.pairwise(points)):
        raise BadInputError(f"{section.at('points')} must rise in flow too: check the row that does not.")
    low, high = section.pair("range") or (None, None)
    return Tip(points, low, high, name)


def _nozzles(boom: _Section, nozzle: _Section) -> Nozzles:
    tip = _tip(nozzle, "" if nozzle.raw("name") is None else nozzle.text("name"))
    count, spacing_m = int(boom.raw("nozzles")), boom.sure("spacing")
    return Nozzles(tip.points, tip.min_pressure_pa, tip.max_pressure_pa, tip.name, count=count, spacing_m=spacing_m)


def _tips(entries: list[dict[str, Any]], nozzles: Nozzles, where: str) -> tuple[Tip, ...]:
    tips: list[Tip] = []
    for number, values in enumerate(entries, start=1):
        section = _Section("tip", values, f"{where}, tip {number}")
        name = section.text("name")
        if name in (nozzles.name, *(tip.name for tip in tips)):
            raise BadInputError(f'{section.at("name")} is "{name}", as another one is called: give each its own name.')
        tips.append(_tip(section, name))
    return tuple(tips)


def _meter(section: _Section) -> Meter:
    factor, curve = section.number("factor"), section.table("curve")
    if (factor is None) == (curve is None):
        raise BadInputError(f"section [meter] in {section.where} needs either factor or curve: give one of the two.")
    points = curve if curve is not None else ((0.0, cast(float, factor)),)
    return Meter(points, section.sure("uncertainty"), section.pair("caught"))


def _pressure(section: _Section) -> PressureSensor:
    low, high = cast(tuple[float, float], section.pair("span"))
    at_low, at_high = cast(tuple[float, float], section.pair("output"))
    of_span, gain = section.sure("uncertainty"), section.sure("gain_uncertainty")
    return PressureSensor(low, high, at_low, at_high, of_span * (high - low), gain)


def _wheel_or_course(wheel: _Section, course: _Section, where: str) -> tuple[Wheel | None, Course | None]:
    if bool(wheel) == bool(course):
        fault = "both [wheel] and [course]: keep" if wheel else "neither [wheel] nor [course]: give"
        raise BadInputError(f"{where} has {fault} one of the two, so that the speed is known.")
    return (_wheel(wheel), None) if wheel else (None, _course(course))


def _wheel(wheel: _Section) -> Wheel:
    per_turn = int(wheel.raw("pulses_per_turn"))
    return Wheel(wheel.sure("circumference") / per_turn, wheel.sure("uncertainty"), per_turn)


def _course(course: _Section) -> Course:
    speed = course.sure("distance") / course.sure("time")
    if not SLOWEST_M_S <= speed <= FASTEST_M_S:
        raise BadInputError(
            f"section [course] in {course.where} gives {format_value(speed, 'speed', 'metric')}, "
            "which is not believable: check distance and time."
        )
    return Course(speed, course.sure("uncertainty"), course.sure("pass_spread"))
