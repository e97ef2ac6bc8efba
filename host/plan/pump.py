"""Is the pump big enough? Nozzles at their highest pressure, agitation, and some to spare."""

from __future__ import annotations

from dataclasses import dataclass

from host.errors import BadInputError
from host.formulas import agitation_flow
from host.plan.rate import HAIR, Boom
from host.rig import Pump

# Share of the tank per minute that keeps it mixed: common practice.
AGITATION = {"solution": 0.05, "suspension": 0.125}
# To spare over nozzles and agitation: Grisso, "Plumbing Systems of Agricultural Sprayers", Virginia Cooperative
# Extension 442-452, gives 20 %.
MARGIN = 0.20


@dataclass(frozen=True)
class PumpNeed:
    """Flows in m³/s; `need` is nozzles and agitation together, `with_margin` what the pump should give."""

    nozzles_m3_s: float
    agitation_m3_s: float
    margin: float

    @property
    def need_m3_s(self) -> float:
        """Nozzles and agitation."""
        return self.nozzles_m3_s + self.agitation_m3_s

    @property
    def with_margin_m3_s(self) -> float:
        """Need and what is to spare."""
        return self.need_m3_s * (1.0 + self.margin)


def pump_need(nozzles: int, nozzle_flow_m3_s: float, tank_m3: float, agitation: float, margin: float = 0.0) -> PumpNeed:
    """Demand on a pump: all nozzles and `agitation` (share of the tank per minute). Raises UserError."""
    for value, what in ((nozzles, "number of nozzles"), (nozzle_flow_m3_s, "nozzle flow"), (tank_m3, "tank volume")):
        if not value > 0:
            raise BadInputError(f"the {what} is not above zero: give the one of the sprayer.")
    if not 0 <= agitation <= 1:
        raise BadInputError("the agitation must be 0 to 100 % of the tank a minute: correct it.")
    if not 0 <= margin <= 5:
        raise BadInputError("the safety margin must be 0 to 500 %: correct it.")
    return PumpNeed(nozzles * nozzle_flow_m3_s, agitation_flow(tank_m3, agitation), margin)


@dataclass(frozen=True)
class Duty:
    """What a pump is to do: the boom, the tank (m³) and its agitation (share a minute), and a margin over both."""

    boom: Boom
    tank_m3: float
    agitation: float
    margin: float = MARGIN

    def need(self, pressure_pa: float) -> PumpNeed:
        """The demand at a pressure."""
        flow = self.boom.nozzle_flow_m3_s(pressure_pa)
        return pump_need(self.boom.nozzles.count, flow, self.tank_m3, self.agitation, self.margin)


def judge(pump: Pump | None, duty: Duty, pressure_pa: float) -> str:
    """A verdict on the pump at a pressure.

    "enough" with the margin, "tight" without it, "no agitation" for the nozzles alone, "too small", "switched off" by
    its pressure switch, "unknown" without a pump or its flow at this pressure.
    """
    need = duty.need(pressure_pa)
    if pump is None:
        return "unknown"
    switch = pump.switch_pressure_pa
    if switch is not None and pressure_pa >= switch * (1 - HAIR):
        return "switched off"
    gives = pump.flow_m3_s(pressure_pa)
    if gives is None:
        # Under pressure no pump gives more than without.
        return "too small" if pump.highest_flow_m3_s < need.nozzles_m3_s * (1 - HAIR) else "unknown"
    for limit, verdict in (
        (need.with_margin_m3_s, "enough"),
        (need.need_m3_s, "tight"),
        (need.nozzles_m3_s, "no agitation"),
    ):
        if gives >= limit * (1 - HAIR):
            return verdict
    return "too small"


def enough_up_to(pump: Pump, duty: Duty) -> float | None:
    """Highest pressure (Pa) at which the pump is enough with its margin, by halving; None when it is at none.

    The flow falls with pressure and the need rises, so there is one.
    """

    def enough(pressure_pa: float) -> bool:
        return judge(pump, duty, pressure_pa) == "enough"

    low, high = 1.0, pump.points[-1][0]
    if enough(high):
        return high
    if not enough(low):
        return None
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if enough(middle) else (low, middle)
    return low
