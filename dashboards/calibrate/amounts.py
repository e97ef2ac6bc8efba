"""The fields about weighed water, which hold for all amounts of one form."""

from __future__ import annotations

from dataclasses import replace

from dashboards.forms import Entries
from host.calibrate.amounts import AmountReader, read_empty, read_temperature


def amount_reader(entries: Entries) -> AmountReader:
    """A reader of amounts as the fields "water" and "empty" say."""
    empty_kg = entries.read("empty", lambda text: read_empty(text, "The empty vessel"))
    temperature_k = entries.read("water", lambda text: read_temperature(text, "The water's temperature"))
    reader = AmountReader(empty_kg=empty_kg)
    return reader if temperature_k is None else replace(reader, temperature_k=temperature_k)
