"""The fields about vessel, balance and water, which hold for all amounts of one form."""

from __future__ import annotations

from dashboards.ui.forms import Entries
from host.calibrate.amounts import AmountReader, read_accuracy, read_empty, read_temperature
from host.errors import UserError
from host.units import parse_quantity


def amount_reader(entries: Entries) -> AmountReader:
    """A reader of amounts as the fields "water", "empty", "step" and "accuracy" say."""
    usual = AmountReader()
    temperature_k = entries.read("water", lambda text: read_temperature(text, "The water's temperature"))
    return AmountReader(
        temperature_k=usual.temperature_k if temperature_k is None else temperature_k,
        empty_kg=entries.read("empty", lambda text: read_empty(text, "The empty vessel")),
        step=entries.read("step", _step),
        accuracy=entries.read("accuracy", lambda text: read_accuracy(text, "The accuracy")),
    )


def _step(text: str) -> str:
    """The text itself, once it is known to be a volume or a weight; which of them has to fit the amounts."""
    try:
        parse_quantity(text, "mass", "The smallest step")
    except UserError:
        parse_quantity(text, "volume", "The smallest step")
    return text
