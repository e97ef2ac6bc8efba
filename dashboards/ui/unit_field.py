"""A number with the unit chosen beside it; whatever else is typed, with its own unit or as "60 x 25", is taken, too."""

from __future__ import annotations

import re
from collections.abc import Sequence

from dash import dcc, html

from dashboards.ui.forms import attributes, entry_id, wrong_id
from dashboards.ui.select import select

_BARE = re.compile(r"[\d\s.,/½¼¾⅓⅔⅛⅜⅝⅞\u202f\u2009+-]*\d[\d\s.,/\u202f\u2009]*|[½¼¾⅓⅔⅛⅜⅝⅞]")
_WITH_OWN = re.compile(rf"({_BARE.pattern})\s+([^\W\d_](?:(?!\s\d).)*|%|°\w)")  # not "60 x 25 ft"
_SHAPE = re.compile(r".*(?:\d\s*(?:[x×*]|\bby\b)\s*|circle\s+)[\d.,\s/]+", re.IGNORECASE)
_SHORT = 12  # letters of a unit that leaves room for two fields side by side
_SIDES = {"ft²": "ft", "m²": "m", "acre": "ft", "ha": "m"}


def unit_id(form: str, name: str) -> dict[str, str]:
    """Dash's id of the unit beside a field."""
    return {"form": form, "unit": name}


def unit_field(
    form: str, name: str, label: str, units: Sequence[str], *, value: str | None = None, hint: str = ""
) -> html.Div:
    """A labelled number with one of `units`, remembered by the browser. An area has letters on its keyboard.

    A `value` with a unit of its own comes with that, whatever the browser remembers. The page needs select.js.
    """
    own = _WITH_OWN.fullmatch(value or "")
    if own:
        value, units = own[1], [own[2], *(unit for unit in units if unit != own[2])]
    entry = dcc.Input(
        id=entry_id(form, name),
        className="entry",
        type="text",
        value=value,
        placeholder=hint,
        autoComplete="off",
        debounce=True,
        persistence=not own,
        persistence_type="session",
        # Dash's types know only the keyboards of an older standard.
        **attributes({"inputMode": "text" if units[0] in _SIDES else "decimal"}),
    )
    choices = dict(zip(units, units, strict=True))
    unit = select(unit_id(form, name), f"Unit of {label}", choices, remembered=not own)
    return html.Div(
        [
            html.Div([html.Label([html.Span(label, className="name"), entry]), unit], className="with-unit"),
            html.P(id=wrong_id(form, name), className="wrong", role="alert"),
        ],
        className="field wide" if max(map(len, units)) > _SHORT else "field",
        **attributes({"data-entry": name}),
    )


def with_unit(text: str | None, unit: str | None) -> str | None:
    """What was typed, with the chosen unit behind it where it has none of its own."""
    typed = (text or "").strip()
    if not typed or not unit:
        return text
    if _BARE.fullmatch(typed):
        return f"{typed} {unit}"
    if unit in _SIDES and _SHAPE.fullmatch(typed):
        return f"{typed} {_SIDES[unit]}"
    return text
