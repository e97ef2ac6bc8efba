"""What was caught, as it is typed beside the boom: a volume, or a weight of water."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from host.calibrate.vessels import JUG, KITCHEN_BALANCE, UNTOLD_WATER, Vessel, Weighed, as_last_told
from host.calibrate.water import volume_of_weighed_water
from host.errors import BadInputError, UserError
from host.units import KELVIN_AT_0_C, parse_quantity

_ROOM_K = KELVIN_AT_0_C + 20.0


@dataclass(frozen=True)
class Amount:
    """A caught volume (m³), what it was measured with, and how it was typed."""

    volume_m3: float
    vessel: Vessel
    typed: str = field(default="", compare=False)


@dataclass(frozen=True)
class AmountReader:
    """Reads amounts that were caught in one way.

    `temperature_k` is of the weighed water; `empty_kg` of the empty jug, None where nothing was said of it (tared);
    `step` the smallest step that is read, as text, because it goes by volume or by weight as the amounts do;
    `accuracy` how far the scale may be off, as a fraction to either side. None stands for what is usual. `tool` names
    the jug or balance where there are several.
    """

    temperature_k: float | None = None
    empty_kg: float | None = None
    step: str | None = None
    accuracy: float | None = None
    tool: str = ""

    @property
    def _water_k(self) -> float:
        return _ROOM_K if self.temperature_k is None else self.temperature_k

    def read(self, text: str, what: str) -> Amount:
        """The amount that was typed; `what` names it in the sentence. Raises UserError."""
        try:
            gross_kg = parse_quantity(text, "mass", what, ounces_of_weight=True)
        except UserError:
            return self._volume(text, what)
        if _lone_ounces(text) and self.empty_kg is None:
            raise BadInputError(
                f'{what} is "{text}", ounces of volume or of weight: write "fl oz" for a jug; for a balance say what '
                "the empty jug weighs, 0 oz if it was tared."
            )
        empty_kg = self.empty_kg or 0.0
        if not gross_kg > empty_kg:
            raise BadInputError(f'{what} is "{text}", no more than the empty jug: weigh it again.')
        volume_m3 = Weighed(gross_kg, empty_kg, self._water_k).volume_m3()
        return Amount(volume_m3, self._vessel(KITCHEN_BALANCE, "mass"), text)

    def _volume(self, text: str, what: str) -> Amount:
        volume_m3 = parse_quantity(text, "volume", what)
        if not volume_m3 > 0:
            raise BadInputError(f'{what} is "{text}": a caught volume must be above zero; catch it again.')
        return Amount(volume_m3, self._vessel(JUG, "volume"), text)

    def _vessel(self, usual: Vessel, kind: str) -> Vessel:
        vessel = replace(usual, tool=self.tool)
        if kind == "mass" and self.temperature_k is None:
            vessel = replace(vessel, density_spread=UNTOLD_WATER)
        if self.step is not None:
            step = parse_quantity(self.step, kind, "the smallest step", ounces_of_weight=True)
            if step < 0:
                raise BadInputError(f'the smallest step is "{self.step}": it cannot be below zero; correct it.')
            vessel = replace(vessel, step_m3=volume_of_weighed_water(step, self._water_k) if kind == "mass" else step)
        return vessel if self.accuracy is None else replace(vessel, accuracy=self.accuracy)


def read_temperature(text: str, what: str) -> float:
    """Temperature (K) of weighed water. Raises UserError outside of 0 to 40 °C."""
    kelvin = parse_quantity(text, "temperature", what)
    if not 0.0 <= kelvin - KELVIN_AT_0_C <= 40.0:
        raise BadInputError(f'{what} is "{text}", outside 0 to 40 °C: give that of the water in the jug.')
    return kelvin


def read_empty(text: str, what: str) -> float:
    """Weight (kg) of the empty jug. Raises UserError."""
    empty_kg = parse_quantity(text, "mass", what, ounces_of_weight=True)
    if empty_kg < 0:
        raise BadInputError(f'{what} is "{text}": it cannot weigh less than nothing; weigh it again.')
    return empty_kg


def read_accuracy(text: str, what: str) -> float:
    """How far the scale of a jug or balance may be off, a fraction to either side. Raises UserError."""
    accuracy = parse_quantity(text, "fraction", what)
    if not 0.0 <= accuracy <= 0.5:
        raise BadInputError(f'{what} is "{text}": it cannot be below zero nor beyond 50 %; correct it.')
    return accuracy


def read_step(text: str, what: str) -> str:
    """The text itself, once it is known to be a volume or a weight; which of them has to fit the amounts."""
    try:
        parse_quantity(text, "mass", what)
    except UserError:
        parse_quantity(text, "volume", what)
    return text


def one_jug(amounts: Iterable[Amount]) -> Vessel:
    """What all catches of one test were measured with, a jug if there are none. Raises UserError when they differ."""
    vessels = list(dict.fromkeys(as_last_told(amount.vessel for amount in amounts)))
    if len({vessel.name for vessel in vessels}) == 1 and len({vessel.tool for vessel in vessels}) > 1:
        raise BadInputError("give one jug or scale for all nozzles of a test, not two: then all are off alike.")
    if len(vessels) > 1:
        raise BadInputError("give either volumes or weights, not both in one test: all nozzles must be measured alike.")
    return vessels[0] if vessels else JUG


def _lone_ounces(text: str) -> bool:
    """Whether the unit is a bare ounce; parse_quantity takes that as a weight, a jug's marks mean a volume."""
    return text.strip().lstrip("0123456789.+- ").rstrip().lower() in ("oz", "ounce", "ounces")
