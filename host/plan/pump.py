"""Is the pump big enough? Nozzles at their highest pressure, agitation, and some to spare."""

from __future__ import annotations

from dataclasses import dataclass

from host.errors import UserError
from host.formulas import agitation_flow, density_factor
from host.rig import Rig

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


@dataclass(frozen=True)
class PumpVerdict:
    """What the pump of the rig gives at the pressure, and whether that is enough. `remark` is a sentence."""

    need: PumpNeed
    pressure_pa: float
    pump_m3_s: float | None
    verdict: str
    remark: str


def pump_need(nozzles: int, nozzle_flow_m3_s: float, tank_m3: float, agitation: float, margin: float = 0.0) -> PumpNeed:
    """Demand on a pump: all nozzles and `agitation` (share of the tank per minute). Raises UserError."""
    for value, what in ((nozzles, "number of nozzles"), (nozzle_flow_m3_s, "nozzle flow"), (tank_m3, "tank volume")):
        if not value > 0:
            raise UserError(f"the {what} is not above zero: give the one of the sprayer.")
    if not 0 <= agitation <= 1 or not 0 <= margin <= 5:
        raise UserError("agitation must be 0 to 100 % of the tank per minute and the margin 0 to 500 %: correct them.")
    return PumpNeed(nozzles * nozzle_flow_m3_s, agitation_flow(tank_m3, agitation), margin)


def judge_pump(
    rig: Rig, agitation: float, pressure_pa: float | None = None, specific_gravity: float = 1.0, margin: float = MARGIN
) -> PumpVerdict:
    """Hold the pump of a rig against its need at `pressure_pa` (default: the highest that the nozzles are made for).

    Nozzle flows are those of a liquid of `specific_gravity`: water's flow over √SG. Raises UserError.
    """
    if not 0.5 <= specific_gravity <= 2.0:
        raise UserError(f"a specific gravity of {specific_gravity:g} is not believable: water is 1, give 0.5 to 2.")
    at = pressure_pa if pressure_pa is not None else rig.nozzles.max_pressure_pa
    if at is None:
        raise UserError("the rig file has no nozzle.range: give --pressure, the highest you will spray at.")
    if not at > 0:
        raise UserError("the pressure is not above zero: give the highest you will spray at.")
    flow = float(rig.nozzles.flow_m3_s(at)) / density_factor(specific_gravity)
    need = pump_need(rig.nozzles.count, flow, rig.tank.volume_m3, agitation, margin)
    if rig.pump is None:
        return PumpVerdict(need, at, None, "unknown", "The rig file has no [pump], so only the need is known.")
    gives = rig.pump.flow_m3_s(at)
    if gives is None:
        return PumpVerdict(need, at, None, "unknown", "The pump's flow at this pressure is not known: see its table.")
    if gives >= need.with_margin_m3_s:
        return PumpVerdict(need, at, gives, "enough", "The pump is big enough, with the margin.")
    if gives >= need.need_m3_s:
        remark = "The pump just covers nozzles and agitation, without the margin: wear will eat it up."
        return PumpVerdict(need, at, gives, "tight", remark)
    if gives >= need.nozzles_m3_s:
        remark = (
            "The pump feeds the nozzles but not the agitation as well: the tank will settle; spray at less pressure."
        )
        return PumpVerdict(need, at, gives, "no agitation", remark)
    remark = "The pump cannot hold this pressure with all nozzles open: spray at less pressure or with smaller tips."
    return PumpVerdict(need, at, gives, "too small", remark)
