"""The form of a start, read: what was typed becomes the request for a run, or a sentence for each field."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from dashboards.context import PageContext
from host.entries import Entries, not_below_zero
from host.errors import BadInputError, UserError
from host.mix_sheet import sheet_from_toml
from host.plan.sheet_file import kept_sheets
from host.recorder.supervision import RunRequest
from host.rig import Rig, load_rig
from host.toml_text import read_text
from host.units import format_value, parse_quantity

MOST_SHEETS = 5
FRESH = timedelta(hours=2)
LONGEST = 120
WINDS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
_LOW_K, _HIGH_K = 243.15, 333.15  # −30 to 60 °C
_STRONGEST_M_S = 40.0


def sheets(context: PageContext) -> dict[str, str]:
    """The mixing sheets that were kept last, by the stem of the file, in the words of a choice."""
    return {path.stem: _words_of(path.stem) for path in _newest(context)}


def _words_of(stem: str) -> str:
    """Of two that were mixed on one day the time tells which."""
    day, hour, minute, name = stem[:10], stem[11:13], stem[13:15], stem[16:]
    return f"{name.replace('-', ' ')}, mixed {day}, {hour}:{minute}"


def fresh_sheet(context: PageContext, rig: str, now: datetime) -> str:
    """The stem of the newest sheet when it was made for this sprayer in the last two hours; empty when there is none.

    `now` is local time, as in the names of sheets.
    """
    newest = next(iter(_newest(context)), None)
    try:
        mixed = datetime.strptime(newest.stem[: len("2026-05-14T0915")], "%Y-%m-%dT%H%M") if newest else None
        if newest is None or mixed is None or not timedelta() <= now - mixed < FRESH:
            return ""
        _sheet(context, newest.stem, rig)
    except (ValueError, UserError):
        return ""
    return newest.stem


def _newest(context: PageContext) -> list[Path]:
    return kept_sheets(context.runs)[:MOST_SHEETS]


def read_form(context: PageContext, typed: Mapping[str, str]) -> RunRequest:
    """The run that is asked for. Raises WrongEntriesError with a sentence for each field, by its name."""
    entries = Entries(typed)
    entries.need("rig", lambda name: name, "Choose a sprayer, or set one up first.")
    path: Path | None = entries.read("rig", context.rig_file)
    rig = None if path is None else _in_field(entries, path)
    port = entries.need("port", lambda text: text, "No board found. Plug in its USB cable.")
    if rig is not None:
        entries.read("tank", lambda text: _tank(text, rig.tank.volume_m3, rig.units))
    notes = {name: entries.read(name, partial(_words, what=name)) for name in ("product", "area")}
    notes["operator"] = entries.read("operator", partial(_words, what="operator"))
    system = rig.units if rig else "us"
    notes["wind"] = entries.read("wind", lambda text: _wind(text, typed.get("wind_from", ""), system))
    notes["temperature"] = entries.read("temperature", lambda text: _temperature(text, system))
    mix = entries.read("mix", lambda stem: _sheet(context, stem, rig.name if rig else ""))
    entries.check()
    if mix:
        notes["product"] = None  # the sheet names what is in the tank
    told = {key: text for key, text in notes.items() if text}
    return RunRequest(port or "", str(path), typed.get("tank", "").strip(), str(mix) if mix else "", told)


def _in_field(entries: Entries, path: Path) -> Rig | None:
    def read(_: str) -> Rig:
        return load_rig(path)

    return entries.read("rig", read)


def _tank(text: str, capacity_m3: float, system: str) -> float:
    volume = not_below_zero("volume", "The tank")(text)
    if volume > 1.05 * capacity_m3:
        holds = format_value(capacity_m3, "volume", system)
        raise BadInputError(f'The tank is "{text}", and it holds {holds}: check number and unit.')
    return volume


def _words(text: str, what: str) -> str:
    words = " ".join(text.split())
    if not words.isprintable() or len(words) > LONGEST:
        raise BadInputError(f"The {what} is too long or cannot be printed: give {LONGEST} characters or less.")
    return words


def _wind(text: str, origin: str, system: str) -> str:
    speed = parse_quantity(text, "speed", "The wind")
    if not 0 <= speed <= _STRONGEST_M_S:
        raise BadInputError(f'The wind is "{text}": give its speed, such as 5 mph or 2 m/s.')
    shown = format_value(speed, "speed", system, decimals=1)
    return f"{shown} from {origin}" if origin in WINDS else shown


def _temperature(text: str, system: str) -> str:
    kelvin = parse_quantity(text, "temperature", "The temperature")
    if not _LOW_K <= kelvin <= _HIGH_K:
        raise BadInputError(f'The temperature is "{text}": check number and unit.')
    return format_value(kelvin, "temperature", system, decimals=0)


def _sheet(context: PageContext, stem: str, rig: str) -> Path:
    path = next((each for each in _newest(context) if each.stem == stem), None)
    if path is None:
        raise BadInputError("This mixing sheet is not there any more: choose another.")
    sheet = sheet_from_toml(read_text(path, "the mixing sheet"), "the mixing sheet")
    if sheet.rig != rig:
        raise BadInputError(f"This mixing sheet was made for {sheet.rig}: choose another, or the sprayer it is for.")
    return path
