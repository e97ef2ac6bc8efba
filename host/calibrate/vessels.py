"""What a catch is measured with, and how well that is known."""

from __future__ import annotations

from dataclasses import dataclass

from host.calibrate.uncertainty import rectangular, resolution
from host.calibrate.water import volume_of_weighed_water
from host.errors import UserError
from host.units import KELVIN_AT_0_C


@dataclass(frozen=True)
class Vessel:
    """A jug, a balance or a tank scale, in terms of volume.

    `step_m3` is the smallest step that is read; `accuracy` how far its scale may be off, as a fraction to either side.
    """

    name: str
    step_m3: float
    accuracy: float

    def reading_uncertainty(self) -> float:
        """Standard uncertainty (m³) of one reading, from the step alone."""
        return resolution(self.step_m3)

    def scale_uncertainty(self) -> float:
        """Standard uncertainty of the scale as a fraction: the same for every catch in this vessel."""
        return rectangular(self.accuracy)


# What such vessels commonly are when nothing better is said: common practice.
JUG = Vessel("jug", step_m3=10e-6, accuracy=0.01)
TANK = Vessel("tank marks", step_m3=0.5e-3, accuracy=0.03)
KITCHEN_BALANCE = Vessel("balance", step_m3=1e-6, accuracy=0.003)


@dataclass(frozen=True)
class Weighed:
    """A catch of water on the balance: gross and empty reading (kg), temperature of the water (K)."""

    gross_kg: float
    empty_kg: float
    temperature_k: float = KELVIN_AT_0_C + 20.0

    def volume_m3(self) -> float:
        """Volume of the water. Raises UserError when there is none."""
        if not self.gross_kg > self.empty_kg >= 0.0:
            raise UserError(
                f"the full vessel weighs {self.gross_kg:g} kg and the empty one {self.empty_kg:g} kg: "
                "the full one must be heavier; weigh again."
            )
        return volume_of_weighed_water(self.gross_kg - self.empty_kg, self.temperature_k)
