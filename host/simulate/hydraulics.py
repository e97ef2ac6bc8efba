"""Pressure and flow of pump, bypass regulator and orifices in balance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Pump:
    """A diaphragm pump on a battery, its delivery falling in a straight line with pressure.

    Makers' curves of small 12 V diaphragm pumps are close to straight between open flow and shut-off pressure (common
    practice). A direct-current motor's speed at a given torque goes with its voltage, so both ends of the line go with
    the battery (our own simplification of the motor's law, speed ∝ voltage - torque · resistance).
    """

    open_flow_m3_s: float
    shutoff_pressure_pa: float

    @property
    def slope(self) -> float:
        """Delivery lost per pressure, m³/s per Pa."""
        return self.open_flow_m3_s / self.shutoff_pressure_pa


@dataclass(frozen=True)
class Regulator:
    """A spring-loaded bypass: it opens at a pressure and passes more the higher the pressure rises above that.

    P = opening pressure + `stiffness` · bypass flow. The droop is what a user would measure with it:
    -d ln P / d ln Q at the set point.
    """

    stiffness: float  # Pa per m³/s

    @classmethod
    def with_droop(cls, droop: float, pressure_pa: float, flow_m3_s: float, pump: Pump) -> Regulator:
        """The regulator whose pressure rises by `droop` · 1 % when the boom takes 1 % less."""
        # P(1 + s·a) + s·Q = const  →  dP/dQ = -s / (1 + s·a) = -droop · P / Q
        wanted = droop * pressure_pa / flow_m3_s
        room = 1.0 - wanted * pump.slope
        if room <= 0:
            raise ValueError("a pump as soft as this cannot hold so little droop")
        return cls(wanted / room)

    def opening_pressure(self, set_pressure_pa: Floats, boom: float, pump: Pump) -> Floats:
        """Where the knob must stand for `set_pressure_pa` (Pa) at full voltage and boom coefficient `boom`."""
        bypass = pump.open_flow_m3_s - pump.slope * set_pressure_pa - boom * np.sqrt(set_pressure_pa)
        return np.asarray(set_pressure_pa - self.stiffness * bypass)


def balance(pump: Pump, regulator: Regulator, opening_pa: Floats, boom: Floats, speed: Floats) -> Floats:
    """Pressure (Pa) at which the pump's delivery equals what boom and bypass take, shape as the inputs.

    `boom` is the total orifice coefficient in m³/s per √Pa (Q = c·√P, Bernoulli with a constant discharge
    coefficient), `speed` the pump's speed against its rated one. With x = √P both cases, bypass open and shut, are
    quadratics in x; the bypass is open where the solution without it lies above the opening pressure.
    """
    delivery = pump.open_flow_m3_s * speed
    slope = pump.slope
    shut = _positive_root(slope, boom, -delivery) ** 2
    s = regulator.stiffness
    held = _positive_root(1.0 + s * slope, s * boom, -(np.maximum(opening_pa, 0.0) + s * delivery)) ** 2
    return np.where(shut > opening_pa, held, shut)


def _positive_root(a: float | Floats, b: Floats, c: Floats) -> Floats:
    """The root x ≥ 0 of a·x² + b·x + c with a > 0, b ≥ 0, c ≤ 0."""
    # This form does not cancel for small a, unlike the schoolbook one (Press et al., Numerical Recipes, 5.6).
    denominator = b + np.sqrt(b * b - 4.0 * a * c)
    return np.asarray(-2.0 * c / np.maximum(denominator, 1e-300))
