"""Fields that suggest what there is, and days; and text from outside as it can be shown."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from urllib.parse import parse_qs, quote

from dash import html

from dashboards.ui.forms import labelled
from host.errors import BadInputError, visible

_MOST_SUGGESTED = 300


def entry_field(
    form: str, name: str, label: str, hint: str = "", *, kind: str = "text", waits: bool = True
) -> html.Div:
    """A labelled field with room for a sentence, which can be given suggestions by `suggestions`.

    `kind` is a type of HTML input; not "date", in which Dash cannot keep the cursor. What is typed counts once the
    field is left or Enter pressed, or, unless it `waits`, after a third of a second.
    """
    known = f"{form}-{name}-known"
    return labelled(
        form,
        name,
        label,
        html.Datalist(id=known),
        type=kind,
        value="",
        placeholder=hint,
        debounce=True if waits else 0.3,
        list=known,
    )


def suggestions(values: Iterable[str]) -> list[html.Option]:
    """What a field suggests, in the order given, each once."""
    known = [visible(value) for value in dict.fromkeys(values) if value]
    return [html.Option(value=value) for value in known[:_MOST_SUGGESTED]]


def read_day(text: str | None, what: str) -> str:
    """A day as ISO 8601, or nothing. Raises UserError for anything else."""
    day = (text or "").strip()
    try:
        if day and date.fromisoformat(day).isoformat() != day:
            raise ValueError
    except ValueError:
        raise BadInputError(f'{what} is "{day[:40]}": give a day as year-month-day, such as 2026-04-01.') from None
    return day


def address(path: str, **asked: str) -> str:
    """An address of ours with what is asked behind it; names of files come back from `asked_for` byte for byte."""
    return f"{path}?" + "&".join(
        f"{key}={quote(value, safe='', errors='surrogateescape')}" for key, value in asked.items()
    )


def asked_for(search: str | None, key: str) -> str:
    """What stands behind `key` in the part of an address after the question mark; empty when nothing does."""
    try:
        given = parse_qs((search or "").removeprefix("?"), errors="surrogateescape", max_num_fields=20)
    except ValueError:
        return ""
    return given.get(key, [""])[0]
