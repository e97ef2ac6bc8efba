"""What is measured with: jug, balance, tank marks, gauge; and how well they are known."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from host.calibrate.uncertainty import rectangular, resolution
from host.calibrate.water import volume_of_weighed_water
from host.errors import BadInputError
from host.units import KELVIN_AT_0_C, PSI_PA


@dataclass(frozen=True)
class Vessel:
    """A jug, a balance or a tank scale, in terms of volume.

    `step_m3` is the smallest step that is read; `accuracy` how far its scale may be off, as a fraction to either side.
    `tool` is the keeper's name for it when there are several of a kind; None where it is not known which one it was.
    `density_spread` is what the water's density may be off, when its temperature was not told (to either side).
    """

    name: str
    step_m3: float
    accuracy: float
    tool: str | None = ""
    density_spread: float = 0.0

    def reading_uncertainty(self) -> float:
        """Standard uncertainty (m³) of one reading, from the step alone.

        It counts twice: once for each reading by itself, and once as the eye's habit (always the lower edge, always the
        same mark), which all readings in this vessel share and no number of them averages away.
        """
        return resolution(self.step_m3)

    def marks_uncertainty(self, volumes_m3: Sequence[float]) -> float:
        """Standard uncertainty (m³) that readings of these volumes share: the eye's habit.

        Where all of them lie within one step, as after catches of one time, they were rounded alike, too; that part of
        it is counted here which would otherwise be averaged away.
        """
        alike = max(volumes_m3) - min(volumes_m3) <= self.step_m3 * (1.0 + 1e-9)
        return self.reading_uncertainty() * (math.sqrt(2.0 - 1.0 / len(volumes_m3)) if alike else 1.0)

    def scale_uncertainty(self) -> float:
        """Standard uncertainty of the scale as a fraction: the same for every catch in this vessel."""
        return math.hypot(rectangular(self.accuracy), rectangular(self.density_spread))

    def shared(self, what: str) -> str:
        """Names an error of this vessel, so that it is one error wherever the vessel was used; empty if unknown."""
        return "" if self.tool is None else f"{self.name} {self.tool}: {what}"


def as_last_told(vessels: Iterable[Vessel]) -> list[Vessel]:
    """The same vessels, each tool as it was told of last: one jug has one accuracy and one step in all its catches.

    What differs from catch to catch, the water's density, stays.
    """
    told = list(vessels)
    last = {(one.name, one.tool): one for one in told}
    known = (last[one.name, one.tool] for one in told)
    return [replace(one, step_m3=now.step_m3, accuracy=now.accuracy) for one, now in zip(told, known, strict=True)]


@dataclass(frozen=True)
class Gauge:
    """The pressure gauge: smallest step read, and how far it may be off (to either side); `tool` as of a vessel."""

    step_pa: float = 1.0 * PSI_PA
    accuracy_pa: float = 2.0 * PSI_PA
    tool: str | None = ""

    @property
    def shared(self) -> str:
        """Names the gauge's error, so that it is one error wherever the gauge was used; empty if unknown."""
        return "" if self.tool is None else f"gauge {self.tool}"


def gauge_measured(gauge: Gauge) -> dict[str, Any]:
    """The gauge among a card's measurements; `error` names it for other cards."""
    steps = {"step_kPa": gauge.step_pa / 1e3, "accuracy_kPa": gauge.accuracy_pa / 1e3}
    return {"tool": gauge.tool or "", "error": gauge.shared, **{name: float(f"{v:.7g}") for name, v in steps.items()}}


# What such tools commonly are when nothing better is said: common practice.
JUG = Vessel("jug", step_m3=10e-6, accuracy=0.03)
USUAL_GAUGE = Gauge()
TANK = Vessel("tank marks", step_m3=0.5e-3, accuracy=0.03)
KITCHEN_BALANCE = Vessel("balance", step_m3=1e-6, accuracy=0.01)
# Water of 5 to 30 °C against 20 °C: 0.9982 to 1.0000 and 0.9957 kg/L (IAPWS-95), so within 0.25 %.
UNTOLD_WATER = 0.0025


@dataclass(frozen=True)
class Weighed:
    """A catch of water on the balance: gross and empty reading (kg), temperature of the water (K)."""

    gross_kg: float
    empty_kg: float
    temperature_k: float = KELVIN_AT_0_C + 20.0

    def volume_m3(self) -> float:
        """Volume of the water. Raises UserError when there is none."""
        if not self.gross_kg > self.empty_kg >= 0.0:
            raise BadInputError(
                f"the full vessel weighs {self.gross_kg:g} kg and the empty one {self.empty_kg:g} kg: "
                "the full one must be heavier; weigh again."
            )
        return volume_of_weighed_water(self.gross_kg - self.empty_kg, self.temperature_k)
