"""Numbers and amounts as people type them on the command line."""

from __future__ import annotations

import argparse

from host.calibrate.amounts import AmountReader, read_accuracy, read_empty, read_temperature
from host.errors import BadInputError


def whole(text: str, what: str) -> int:
    """A count. Raises UserError."""
    try:
        return int(text)
    except ValueError:
        raise BadInputError(f'{what} is "{text}": give a whole number, without a unit.') from None


def number(text: str, what: str) -> float:
    """A plain number. Raises UserError."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < float("inf"):
        raise BadInputError(f'{what} is "{text}": give a number, without a unit.')
    return value


def count_of(values: list[str]) -> str:
    """How many values, for a sentence."""
    return f"{len(values)} value{'' if len(values) == 1 else 's'}"


def amount_reader(args: argparse.Namespace) -> AmountReader:
    """A reader of caught amounts as the options --water, --empty, --step and --accuracy say. Raises UserError."""
    return AmountReader(
        temperature_k=read_temperature(args.water, "--water"),
        empty_kg=None if args.empty is None else read_empty(args.empty, "--empty"),
        step=args.step,
        accuracy=None if args.accuracy is None else read_accuracy(args.accuracy, "--accuracy"),
    )
