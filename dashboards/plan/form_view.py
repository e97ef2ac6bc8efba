"""The fields of a plan as a form of a page, and what was typed into them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from dash import Input, Output, html

from dashboards.ui.document_view import document_view
from dashboards.ui.forms import attributes, chips, entry_id, field, wrong_id
from dashboards.ui.select import select
from dashboards.ui.unit_field import unit_field, unit_id, with_unit
from host.documents.document import Document
from host.documents.words import sentence
from host.entries import WrongEntriesError
from host.errors import UserError
from host.plan.fields import UNIT_CHOICES, Field

_FEW = 3  # so many choices stand side by side


def form_view(form: str, fields: Sequence[Field], system: str, values: Mapping[str, str] | None = None) -> list[Any]:
    """The fields, what is seldom needed under a fold; `values` stand in them at first."""
    values = values or {}
    groups = [[entry for entry in fields if entry.more is more] for more in (False, True)]
    asked, more = ([_entry(form, entry, system, values.get(entry.name)) for entry in group] for group in groups)
    view: list[Any] = [html.Div(asked, className="fields part")]
    if more:
        view.append(html.Details([html.Summary("More"), html.Div(more, className="fields")], className="fold"))
    return view


def _entry(form: str, entry: Field, system: str, value: str | None) -> html.Div:
    if entry.choices:
        return _choice(form, entry)
    if entry.kind:
        units = UNIT_CHOICES[entry.kind][system]
        hint = "60 x 25" if entry.kind == "area" else ""
        return unit_field(form, entry.name, entry.label, units, value=value, hint=hint)
    return field(form, entry.name, entry.label, entry.example(system), value)


def _choice(form: str, entry: Field) -> html.Div:
    few = len(entry.choices) <= _FEW
    if few:
        return chips(entry_id(form, entry.name), entry.label, dict(entry.choices), entry.choices[0][0])
    made = select(entry_id(form, entry.name), entry.label, {"": "not said", **dict(entry.choices)})
    return html.Div(
        [html.Span(entry.label, className="name"), made], className="field", **attributes({"data-entry": entry.name})
    )


def inputs_of(form: str, fields: Sequence[Field]) -> list[Input]:
    """Inputs of a callback: the value of each field, then the unit of each that has one."""
    values = [Input(entry_id(form, entry.name), "value") for entry in fields]
    return values + [Input(unit_id(form, entry.name), "value") for entry in fields if _has_unit(entry)]


def typed_into(fields: Sequence[Field], values: Sequence[str | None]) -> dict[str, str | None]:
    """What was typed, by the name of the field, from the values of `inputs_of`."""
    entries, units = values[: len(fields)], iter(values[len(fields) :])
    return {
        entry.name: with_unit(text, next(units)) if _has_unit(entry) else text
        for entry, text in zip(fields, entries, strict=True)
    }


def _has_unit(entry: Field) -> bool:
    return bool(entry.kind) and not entry.choices


def wrongs_of(form: str, fields: Sequence[Field]) -> list[Output]:
    """Outputs of a callback: the message below each field that can be wrong."""
    return [Output(wrong_id(form, entry.name), "children") for entry in fields if not entry.choices]


def answered(
    names: Sequence[str], work: Callable[[], Document], view: Callable[[Document], list[Any]] = document_view
) -> tuple[Any, ...]:
    """The document's view, and a message for each of `names`; a mistake that belongs to none stands in the result."""
    try:
        return (view(work()), *[""] * len(names))
    except WrongEntriesError as wrong:
        return ("", *(wrong.sentences.get(name, "") for name in names))
    except UserError as error:
        return (html.P(sentence(str(error)), className="notice", role="alert"), *[""] * len(names))
