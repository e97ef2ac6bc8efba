"""The boom should spray and no pulse comes: the meter, the boom valve, the pump, or an empty tank."""

from __future__ import annotations

import math

from host.pipeline.faults.causes.cause import HANDS_OFF, Cause, Evidence, Rule, Verdict
from host.pipeline.faults.tuning import TUNING

CAUSES = (
    Cause(
        "tank_empty",
        "tank is empty",
        ("look into the tank", "switch the pump off: it must not run dry"),
        dosed="under",
        not_simulated="no event brings it about: a tank that nobody fills runs dry (scenario fault-tank-empty)",
    ),
    Cause(
        "valve_shut",
        "boom valve shut, or the boom's hose blocked",
        (
            "look whether anything sprays",
            "shut on purpose? Then switch the spray off, too",
            "look at the valve's handle or its plug",
            "look for a kinked boom hose",
        ),
        "the boom sprays: the flow meter has stopped, not the flow",
        "under",
        look_alikes=("meter_stuck",),
        disturbances=("valve_shut",),
    ),
    Cause(
        "pump_off",
        "no pressure and no flow: pump off, or tank empty",
        ("listen: does the pump run?", "look into the tank", "look at fuse and switch"),
        "pump runs with liquid in the tank: the suction has lost its prime, or a valve before the sensors is shut",
        "under",
        disturbances=("pump_off",),
    ),
    Cause(
        "meter_stuck",
        "flow meter gives no pulses",
        ("look whether the boom sprays", "push the meter's plug home", f"free the rotor, {HANDS_OFF}"),
        "nothing sprays: the boom valve is shut or the line is blocked",
        look_alikes=("valve_shut",),
        disturbances=("meter_stuck",),
    ),
)
# What pressure and pulses look like in the seconds and minutes after the tank has run empty.
AS_TANK_EMPTIES = (
    *("air", "pump_off", "valve_shut", "meter_stuck", "meter_missing"),
    *("pressure_low", "pressure_down", "supply_short", "regulator"),
    *("clog", "meter_low", "transducer_drift"),
)


def _verdict(evidence: Evidence) -> Verdict:
    """Meter or valve: shutting the boom raises the pressure before the valve, a stuck rotor does not."""
    moved = evidence.moved
    if not math.isfinite(moved):
        return Verdict("meter_stuck", ("valve_shut",), 0.5)
    # It may have fallen before the flow stopped: check valves shut what a pump that dies slowly still presses on.
    low = evidence.usual < TUNING.low_pressure_share
    if evidence.nearly_empty and (moved < -0.3 or low):
        return Verdict("tank_empty", ("pump_off",), 0.8)
    if moved < -0.7:
        # Behind the valve the pressure goes in either case; before the first turn it is not known where it is read.
        known = evidence.droop.before_valve
        return Verdict("pump_off", (), 0.9) if known else Verdict("pump_off", ("valve_shut",), 0.5)
    if low:
        return Verdict("pump_off", ("meter_stuck", "valve_shut"), 0.5)
    droop, droop_u = evidence.droop.value
    if math.isnan(droop):
        # Behind the valve the pressure stays up for as long as the boom sprays, and rises when its hose is blocked.
        still = abs(moved) < TUNING.stays_still
        return Verdict("meter_stuck", (), 0.95) if still else Verdict("meter_stuck", ("valve_shut",), 0.8)
    sd = math.hypot(evidence.moved_sd, TUNING.turn_sd)
    rise, spread = math.log1p(droop), math.hypot(sd, droop_u)
    stuck = math.exp(-0.5 * (moved / sd) ** 2) / sd
    shut = math.exp(-0.5 * ((moved - rise) / spread) ** 2) / spread
    if stuck + shut <= 0.0:
        stuck, shut = (1.0, 0.0) if moved < rise / 2 else (0.0, 1.0)
    # One in fifty comes with a hand on the knob or a jolt: never quite sure.
    sure = min(max(stuck, shut) / (stuck + shut), 0.98)
    names = ("meter_stuck", "valve_shut") if stuck > shut else ("valve_shut", "meter_stuck")
    return Verdict(names[0], names[1:] if sure < TUNING.sure else (), sure)


RULES = (
    Rule(
        "no_flow",
        0.3,
        0.3,
        lambda signs: signs.should_spray & (signs.pulses_due > TUNING.no_flow_pulses),
        _verdict,
        decided=lambda signs: signs.should_spray | signs.steady_spray,
        explains=True,
        rank=4,
        confirm_s=0.6,  # a hand off the trigger, where the switch does not show it
        revised_s=(0.4, 1.0, 2.0),
    ),
    Rule(
        "meter_silent",
        0.3,
        0.3,
        lambda signs: signs.meter_silent,
        # A knob that is turned back just then looks the same: a question, and no sound.
        lambda _: Verdict("meter_stuck", ("valve_shut",), 0.8),
        decided=lambda signs: signs.meter_silent | signs.steady_spray,
        explains=True,
        quiet=True,
    ),
)
