"""Notes that are read as quantities, checked alike when they are written and when they are read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from host.errors import BadInputError, UserError
from host.events import NOTE_LABEL_LIMIT, NOTE_MIX, NOTE_QUANTITIES, NOTE_TANK_LEFT
from host.rig.model import Rig
from host.units import format_value, parse_quantity

_ROUNDED = 1.01  # a full tank of 40 L in round gallons is no contradiction
_HEAPED = 1.05  # a tank takes a little more than its mark
_ASKED = {
    NOTE_MIX: 'product per volume of mix, such as "20 mL/L", "2.5 fl oz/gal" or "5 g/L"',
    NOTE_LABEL_LIMIT: 'product per area, such as "1.5 L/ha", "2 fl oz/1000 ft2" or "2 kg/ha"',
}


def noted(notes: Mapping[str, str], key: str, rig: Rig | None) -> tuple[float, str] | None:
    """The quantity (SI) noted under `key`, and its kind of host.units; None where nothing is, or it was taken back.

    Raises UserError for what is no such quantity, or none that this rig can have.
    """
    text = notes.get(key, "").strip()
    if not text:
        return None
    where = f'the note "{key}"'
    value, kind = _parsed(key, text, where)
    if value < 0 or (value == 0 and kind != "volume"):
        raise BadInputError(f'{where} is "{text}": it must be above zero.')
    if kind == "fraction" and value >= 1:
        raise BadInputError(f'{where} is "{text}", more product than mix: give {_ASKED[key]}.')
    if key == NOTE_TANK_LEFT and rig is not None and value > _ROUNDED * rig.tank.volume_m3:
        full = format_value(rig.tank.volume_m3, "volume", rig.units)
        raise BadInputError(f'{where} is "{text}", and the tank of this run holds {full}: note what was left in it.')
    return value, kind


def check_note(key: str, text: str, rig: Rig | None) -> None:
    """Raise UserError for a note that is to be read as a quantity and cannot be; any other is free text."""
    if key in NOTE_QUANTITIES:
        noted({key: text}, key, rig)


def check_refill(detail: Mapping[str, Any], rig: Rig | None) -> None:
    """Raise UserError for a refill of more than the tank holds; `detail` is what the event carries."""
    most = max((detail.get(key) or 0.0 for key in ("added_m3", "to_m3")), default=0.0)
    if rig is not None and most > _HEAPED * rig.tank.volume_m3:
        said, full = (format_value(volume, "volume", rig.units) for volume in (most, rig.tank.volume_m3))
        raise BadInputError(f"{said} is more than the tank holds, {full}: check number and unit")


def _parsed(key: str, text: str, where: str) -> tuple[float, str]:
    kinds = NOTE_QUANTITIES[key]
    for kind in kinds:
        try:
            # in notes of earlier runs "oz" is a weight
            return parse_quantity(text, kind, where, ounces_of_weight=kind != "volume"), kind
        except UserError:
            if len(kinds) == 1:
                raise
    raise BadInputError(f'{where} is "{text}": give {_ASKED[key]}.')
