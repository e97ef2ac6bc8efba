"""A choice among many as the browser's own list: Dash has none that a screen reader can use. select.js carries the
choice into the hidden input that callbacks listen to, and remembers it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import dcc, html

from dashboards.ui.forms import attributes


def select(id_: dict[str, str], label: str, options: Mapping[str, str], *, remembered: bool = False) -> html.Div:
    """One of `options` (words by value), the first at first; `id_` is that of the value.

    `remembered`: the browser keeps it for the next time, under its id.
    """
    first = next(iter(options))
    keep: dict[str, Any] = {"data-keeps": ".".join(id_.values())} if remembered else {}
    return html.Div(
        [
            html.Select(
                [html.Option(words, value=value) for value, words in options.items()],
                className="choices",
                **attributes({"aria-label": label} | keep),
            ),
            dcc.Input(id=id_, type="text", value=first, className="chosen"),
        ],
        className="select",
    )
