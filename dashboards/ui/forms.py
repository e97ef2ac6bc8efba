"""Forms: a field with its label and room for one sentence, choices with large targets, and reading what was typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from host.entries import Entries, WrongEntriesError, above_zero

__all__ = [
    "Entries",
    "WrongEntriesError",
    "above_zero",
    "attributes",
    "cautions",
    "chips",
    "entry_id",
    "field",
    "labelled",
    "table",
    "wrong_id",
]


def attributes(names: dict[str, str]) -> Any:
    """Attributes whose names have a hyphen, which Dash's types leave out."""
    return names


def entry_id(form: str, name: str) -> dict[str, str]:
    """Dash's id of a field's input."""
    return {"form": form, "entry": name}


def wrong_id(form: str, name: str) -> dict[str, str]:
    """Dash's id of the sentence below a field."""
    return {"form": form, "wrong": name}


def field(
    form: str,
    name: str,
    label: str,
    hint: str = "",
    value: str | None = None,
    known: Sequence[str] = (),
) -> html.Div:
    """A labelled text field. `hint` shows how it is typed, `value` what stands there at first.

    `known` are entries to pick from; others can be typed.
    """
    choices = f"{form} {name} known".replace(" ", "-")
    more = {"list": choices} if known else {}
    kept = {"persistence": True, "persistence_type": "session"}
    return labelled(
        form,
        name,
        label,
        html.Datalist([html.Option(value=one) for one in known], id=choices) if known else None,
        type="text",
        value=value,
        placeholder=hint,
        debounce=True,
        **kept,
        **more,
    )


def labelled(form: str, name: str, label: str, choices: html.Datalist | None, **typed: Any) -> html.Div:
    """An input with its label, what it suggests, and room for a sentence; `typed` is what dcc.Input is given."""
    entry = dcc.Input(id=entry_id(form, name), autoComplete="off", className="entry", **typed)
    return html.Div(
        [
            html.Label([html.Span(label, className="name"), entry]),
            *([] if choices is None else [choices]),
            html.P(id=wrong_id(form, name), className="wrong", role="alert"),
        ],
        className="field",
        **attributes({"data-entry": name}),
    )


def chips(id_: Any, label: str, options: Mapping[str, str], value: str) -> html.Div:
    """One of a few, as buttons in a row; each is a radio button to keyboard and screen reader."""
    return html.Div(
        [
            html.P(label, className="name"),
            dcc.RadioItems(
                id=id_,
                options=[{"label": words, "value": code} for code, words in options.items()],
                value=value,
                persistence=True,
                persistence_type="session",
                className="chips",
            ),
        ],
        className="choice",
        role="group",
        **attributes({"aria-label": label}),
    )


def table(headings: list[str], rows: list[list[str]], marked: frozenset[int] = frozenset()) -> html.Div:
    """A table that scrolls by itself where it is too wide; `marked` rows are to be looked at."""
    return html.Div(
        html.Table(
            [
                html.Thead(html.Tr([html.Th(words, scope="col") for words in headings])),
                html.Tbody(
                    [
                        html.Tr(
                            [html.Th(row[0], scope="row"), *(html.Td(words) for words in row[1:])],
                            className="marked" if number in marked else "",
                        )
                        for number, row in enumerate(rows)
                    ]
                ),
            ]
        ),
        className="scrolls",
        tabIndex=0,
        role="region",
        **attributes({"aria-label": "Table"}),
    )


def cautions(sentences: tuple[str, ...]) -> html.Ul:
    """Cautions, in sight before anything else."""
    return html.Ul([html.Li(words) for words in sentences], className="cautions")
