"""The fields about what is caught and what it is measured with, the same for every kind that catches water."""

from __future__ import annotations

from host.calibrate.amounts import Amount, AmountReader, read_accuracy, read_empty, read_step, read_temperature
from host.calibrate.kinds.kind import Field
from host.entries import Entries, read_name

JUG_FIELDS = (
    Field("water", "When weighed: water's temperature", "68 °F", "20 °C", required=False),
    Field("empty", "When weighed: empty jug (blank: tared)", "4 oz", "120 g", required=False),
    Field("step", "Smallest step that you read", "10 mL", required=False, of_tool=True),
    Field(
        "accuracy",
        "May be off by (blank: 3 % a kitchen jug, 1 % a kitchen scale)",
        "1 %",
        required=False,
        tool=True,
        of_tool=True,
    ),
    Field("jug", "Which jug or scale, if you have several", "white one", required=False, of_tool=True),
)
READ_THE_JUG = "Put the jug on level ground and read it at eye level, at the bottom of the water's curve (or weigh it)"
AMOUNT = Field("amount", "Caught: volume or weight", "78 fl oz", "2.31 L", quantity="amount", again=True)


def amount_reader(entries: Entries) -> AmountReader:
    """A reader of amounts, as the fields of `JUG_FIELDS` say."""
    return AmountReader(
        temperature_k=entries.read("water", lambda text: read_temperature(text, "The water's temperature")),
        empty_kg=entries.read("empty", lambda text: read_empty(text, "The empty jug")),
        step=entries.read("step", lambda text: read_step(text, "The smallest step")),
        accuracy=entries.read("accuracy", lambda text: read_accuracy(text, "The accuracy")),
        tool=entries.read("jug", lambda text: read_name(text, "The jug's name")) or "",
    )


def caught(entries: Entries, reader: AmountReader) -> Amount | None:
    """The field `AMOUNT`; None, with a sentence in `entries`, when it cannot be read."""
    return entries.need("amount", lambda text: reader.read(text, "The catch"), "Enter how much was caught.")
