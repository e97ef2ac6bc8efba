"""What was caught, as it is typed beside the boom: a volume, or a weight of water with its temperature."""

from __future__ import annotations

from dashboards.forms import Entries
from host.calibrate.vessels import JUG, KITCHEN_BALANCE, Vessel, Weighed
from host.errors import UserError
from host.units import KELVIN_AT_0_C, parse_quantity


class Catches:
    """Reads amounts of one form, whose fields "water" and "empty" hold for all of them."""

    def __init__(self, entries: Entries) -> None:
        self._temperature_k = entries.read("water", _temperature) or KELVIN_AT_0_C + 20.0
        self._empty_kg = entries.read("empty", _empty) or 0.0

    def read(self, text: str, what: str) -> tuple[float, Vessel]:
        """Volume (m³) and the vessel it was read in. Raises UserError."""
        try:
            gross = parse_quantity(text, "mass", what)
        except UserError:
            volume = parse_quantity(text, "volume", what)
            if not volume > 0:
                raise UserError(f'{what} is "{text}": a caught volume must be above zero; catch it again.') from None
            return volume, JUG
        if not gross > self._empty_kg:
            raise UserError(f'{what} is "{text}", no more than the empty vessel: weigh it again.')
        return Weighed(gross, self._empty_kg, self._temperature_k).volume_m3(), KITCHEN_BALANCE


def _temperature(text: str) -> float:
    kelvin = parse_quantity(text, "temperature", "The water's temperature")
    if not 0.0 <= kelvin - KELVIN_AT_0_C <= 40.0:
        raise UserError(f'The water\'s temperature is "{text}": give that of the water in the vessel, 0 to 40 °C.')
    return kelvin


def _empty(text: str) -> float:
    empty = parse_quantity(text, "mass", "The empty vessel")
    if empty < 0:
        raise UserError(f'The empty vessel is "{text}": it cannot weigh less than nothing; weigh it again.')
    return empty
