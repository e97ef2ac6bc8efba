"""Forms: a field with its label and room for one sentence, choices with large targets, and reading what was typed."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from dash import dcc, html

from host.errors import UserError
from host.units import parse_quantity

T = TypeVar("T")


class WrongEntriesError(Exception):
    """Entries that cannot be used: `sentences` by the name of their field."""

    def __init__(self, sentences: Mapping[str, str]) -> None:
        super().__init__("; ".join(sentences.values()))
        self.sentences = dict(sentences)


class Entries:
    """Reads the fields of one form and collects a sentence for each that cannot be read, so that all are seen."""

    def __init__(self, typed: Mapping[str, str | None]) -> None:
        self._typed = typed
        self.sentences: dict[str, str] = {}

    def given(self, name: str) -> bool:
        """Whether anything was typed there."""
        return bool((self._typed.get(name) or "").strip())

    def read(self, name: str, reader: Callable[[str], T]) -> T | None:
        """What `reader` makes of a field; None when it is empty or wrong."""
        if not self.given(name):
            return None
        try:
            return reader((self._typed.get(name) or "").strip())
        except UserError as error:
            self.sentences[name] = sentence(str(error))
            return None

    def need(self, name: str, reader: Callable[[str], T], missing: str) -> T | None:
        """The same; an empty field is wrong, `missing` says so."""
        if not self.given(name):
            self.sentences[name] = missing
        return self.read(name, reader)

    def check(self) -> None:
        """Raises WrongEntriesError when a field could not be read."""
        if self.sentences:
            raise WrongEntriesError(self.sentences)


def read_whole(text: str, what: str) -> int:
    """A whole number, one or more, as a counter shows it. Raises UserError."""
    if not re.fullmatch(r"[0-9]{1,10}", text) or not int(text):
        raise UserError(f'{what} is "{text[:40]}": give a whole number above zero, such as 1043.')
    return int(text)


def read_count(text: str, what: str) -> float:
    """Counts of a converter, zero or more, a mean may have decimals. Raises UserError."""
    if not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,4})?", text):
        raise UserError(f'{what} is "{text[:40]}": give a number, zero or more, such as 512.4.')
    return float(text)


def above_zero(kind: str, what: str) -> Callable[[str], float]:
    """A reader of a quantity that must be above zero."""

    def read(text: str) -> float:
        value = parse_quantity(text, kind, what)
        if not value > 0:
            raise UserError(f'{what} is "{text}": give one above zero.')
        return value

    return read


def sentence(text: str) -> str:
    """`text` as it stands on a page: a capital first, a full stop last."""
    return text[:1].upper() + text[1:] + ("" if not text or text.endswith((".", "!", "?", ":")) else ".")


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
