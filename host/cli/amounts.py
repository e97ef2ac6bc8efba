"""Numbers and amounts as people type them on the command line."""

from __future__ import annotations

import argparse
from dataclasses import replace

from host.calibrate.uncertainty import rectangular
from host.calibrate.vessels import JUG, KITCHEN_BALANCE, Vessel, Weighed
from host.calibrate.water import volume_of_weighed_water
from host.errors import UserError
from host.units import parse_quantity

WEIGHTS = ("g", "kg", "lb", "lbs", "oz", "gram", "grams", "pound", "pounds", "ounce", "ounces")


def whole(text: str, what: str) -> int:
    """A count. Raises UserError."""
    try:
        return int(text)
    except ValueError:
        raise UserError(f'{what} is "{text}": give a whole number, without a unit.') from None


def number(text: str, what: str) -> float:
    """A plain number. Raises UserError."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < float("inf"):
        raise UserError(f'{what} is "{text}": give a number, without a unit.')
    return value


def count_of(values: list[str]) -> str:
    """How many values, for a sentence."""
    return f"{len(values)} value{'' if len(values) == 1 else 's'}"


def is_weight(text: str) -> bool:
    """Whether an amount is typed as a weight; a lone "oz" is one, "fl oz" is not."""
    words = text.lower().replace(".", " ").split()
    unit = "".join(words[-1:]).lstrip("0123456789")
    return unit in WEIGHTS and "fl" not in words[-2:-1]


class Amounts:
    """Reads caught amounts, volumes or weights of water, with the options --water, --empty, --step and --accuracy.

    All amounts of one command are caught in one vessel: `vessel` is known after the first.
    """

    def __init__(self, args: argparse.Namespace) -> None:
        self._args = args
        self._temperature_k = parse_quantity(args.water, "temperature", "--water")
        self._empty_kg = parse_quantity(args.empty, "mass", "--empty")
        self._weighed: bool | None = None

    def volume(self, text: str, what: str) -> float:
        """Volume (m³) of one amount. Raises UserError."""
        weighed = is_weight(text)
        if self._weighed is not None and weighed != self._weighed:
            raise UserError(f'{what} is "{text}": give either volumes or weights, not both in one command.')
        self._weighed = weighed
        if not weighed:
            volume = parse_quantity(text, "volume", what)
            if volume <= 0:
                raise UserError(f'{what} is "{text}": a caught volume must be above zero; catch it again.')
            return volume
        gross = parse_quantity(text, "mass", what)
        if not gross > self._empty_kg >= 0:
            raise UserError(f'{what} is "{text}", no more than the empty vessel: weigh it again.')
        return Weighed(gross, self._empty_kg, self._temperature_k).volume_m3()

    @property
    def vessel(self) -> Vessel:
        """The vessel of the amounts read so far, with what was said of it. Raises UserError."""
        vessel = KITCHEN_BALANCE if self._weighed else JUG
        if self._args.step is not None:
            if self._weighed:
                step = volume_of_weighed_water(parse_quantity(self._args.step, "mass", "--step"), self._temperature_k)
            else:
                step = parse_quantity(self._args.step, "volume", "--step")
            vessel = replace(vessel, step_m3=step)
        if self._args.accuracy is not None:
            vessel = replace(vessel, accuracy=parse_quantity(self._args.accuracy, "fraction", "--accuracy"))
        if vessel.step_m3 < 0 or not 0 <= rectangular(vessel.accuracy) < 0.5:
            raise UserError("--step and --accuracy cannot be below zero, nor --accuracy beyond 50 %: correct them.")
        return vessel
