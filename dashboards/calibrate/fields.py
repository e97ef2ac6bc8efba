"""The fields of every kind, each in a place of its own that is shown when its turn comes."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from dash import html

from dashboards.ui.forms import attributes, chips, field, labelled
from dashboards.ui.unit_field import unit_field
from host.calibrate.drafts import DraftFile
from host.calibrate.kinds.kind import Field, Kind, fields_of
from host.errors import UserError
from host.rig import Rig
from host.units import to_user

SETTINGS = "settings"
# Units offered beside a field, by what it is of: the first one is what a rig of these units most likely has.
UNITS: dict[str, dict[str, tuple[str, ...]]] = {
    "amount": {"us": ("fl oz", "mL", "L", "gal", "lb", "oz wt", "g"), "metric": ("mL", "L", "g", "kg", "fl oz")},
    "volume": {"us": ("gal", "L"), "metric": ("L", "gal")},
    "pressure": {"us": ("psi", "bar", "kPa"), "metric": ("bar", "kPa", "psi")},
    "length": {"us": ("ft", "yd", "m"), "metric": ("m", "ft", "yd")},
    "speed": {"us": ("mph", "ft/s", "km/h"), "metric": ("km/h", "m/s", "mph")},
    "time": {"us": ("s", "min"), "metric": ("s", "min")},
}


def form_of(kind: str, way: str) -> str:
    """Name of the form that the fields of a way, or the settings, make."""
    return f"calibrate {kind} {way}"


def place_of(kind: str, way: str, name: str) -> str:
    """Name of the place of one field."""
    return f"{kind} {way} {name}"


def stays(kind: Kind, entry: str) -> bool:
    """Whether a field stays as it was typed when a point was taken."""
    fields = (*kind.settings, *(field for way in kind.ways for field in way.fields if field.keeps))
    return any(one.name == entry for one in fields)


def choice_of_way(kind: Kind) -> html.Div:
    """The choice of a way to a point."""
    ways = {way.name: way.title for way in kind.ways if way.title}
    return html.Div(
        chips({"way": kind.name}, "How?", ways, next(iter(ways))), id={"ways": kind.name}, className="hidden"
    )


def places_of(kind: Kind, rig: Rig, runs: Sequence[str]) -> list[html.Div]:
    """A hidden place for each field of each way."""
    return [
        html.Div(
            _made(one, form_of(kind.name, way.name), rig, runs),
            id={"place": place_of(kind.name, way.name, one.name)},
            className="hidden",
        )
        for way in kind.ways
        for one in fields_of(way.fields, rig.nozzles.count)
    ]


def settings_of(kind: Kind, rig: Rig, tools: Mapping[str, str], cards: Path) -> list[html.Div | html.Details]:
    """The settings that have to be typed, and a fold with those that may be, which asks for the tools until a card.

    `tools` is what was typed of them for the last one. What the points so far were taken with is in the draft beside
    the `cards`.
    """
    resumed = _resumed(kind, rig, cards)
    form = form_of(kind.name, SETTINGS)
    needed = [_made(one, form, rig, (), _typed(one, resumed, rig)) for one in kind.settings if one.required]
    others = [_made(one, form, rig, (), tools.get(one.name) or None) for one in kind.settings if not one.required]
    asks = any(one.tool and one.name not in tools for one in kind.settings)
    open_ones = html.Div(needed, id={"needed": kind.name}, className="hidden")
    if not others:
        return [open_ones]
    more = "More: how good are your tools?" if asks else "More"
    folded = [html.Summary(more), html.Div(others, className="fields part")]
    return [open_ones, html.Details(folded, id={"fold": kind.name}, className="hidden")]


def _made(one: Field, form: str, rig: Rig, runs: Sequence[str], value: str | None = None) -> html.Div:
    example = one.example(rig.units)
    if one.quantity in UNITS:
        units = UNITS[one.quantity][rig.units]
        return unit_field(form, one.name, one.label, units, value=value, hint=_number(example, units[0]))
    if one.quantity == "count":
        keyboard = attributes({"inputMode": "decimal"})
        return labelled(form, one.name, one.label, None, type="text", placeholder=example, debounce=True, **keyboard)
    return field(form, one.name, one.label, example, value, known=runs if one.runs else ())


def _resumed(kind: Kind, rig: Rig, cards: Path) -> dict[str, float]:
    """The settings (SI) that the points so far were taken with; a draft that cannot be read is named elsewhere."""
    try:
        draft = DraftFile(cards, rig.name, kind.name).load()
    except UserError:
        return {}
    return kind.resumes(draft.rows) if draft else {}


def _typed(one: Field, resumed: Mapping[str, float], rig: Rig) -> str | None:
    """A setting in the rig's units, as it could have been typed."""
    if one.name not in resumed:
        return None
    return f"{to_user(resumed[one.name], one.quantity, rig.units):.6g} {UNITS[one.quantity][rig.units][0]}"


def _number(example: str, unit: str) -> str:
    """The number of an example that is in the unit beside the field."""
    found = re.fullmatch(r"([\d.,]+) " + re.escape(unit), example)
    return found[1] if found else ""
