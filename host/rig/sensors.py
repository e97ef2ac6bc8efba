"""The kinds of pulse sensor, and the filter that the board's input needs for each: PROTOCOL.md, section 5."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_protocol.messages import Capability, FilterRule, filter_argument
from host.rig.model import Rig


@dataclass(frozen=True)
class SensorKind:
    """A rule and its time in µs, for the flow meter and for the wheel."""

    rule: FilterRule
    flow_us: int
    wheel_us: int


# Hall sensors and encoders switch cleanly: only what follows faster than they can turn is refused. Contacts bounce as
# they close and as they open, reeds for up to 5 ms, bare contacts for up to 15 ms (common practice).
SENSORS: dict[str, SensorKind] = {
    "hall": SensorKind(FilterRule.SPACING, 100, 400),
    "encoder": SensorKind(FilterRule.SPACING, 100, 150),
    "reed": SensorKind(FilterRule.REST, 8_000, 8_000),
    "contact": SensorKind(FilterRule.REST, 20_000, 20_000),
}


def filter_arguments(rig: Rig) -> tuple[int, ...]:
    """Arguments of the board's command `f`, one for each pulse input that the rig has."""
    meter, wheel = SENSORS[rig.meter_sensor], SENSORS[rig.wheel_sensor]
    arguments = [filter_argument(Capability.FLOW, meter.rule, meter.flow_us)]
    if rig.wheel is not None:
        arguments.append(filter_argument(Capability.WHEEL, wheel.rule, wheel.wheel_us))
    return tuple(arguments)
