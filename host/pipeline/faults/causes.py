"""What can be wrong, in words: what to say, what to check first, and what tells look-alikes apart."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Cause:
    """One cause. `check` is in order of cheapness; `tell` is the one look or touch that decides among look-alikes."""

    words: str
    check: tuple[str, ...]
    tell: str = ""
    dosed: str = "unknown"  # what it does to the ground: under, over, unknown, or none
    urgent: bool = True  # worth a sound


_OFF = "spray off and pressure released before you touch anything"
CAUSES: dict[str, Cause] = {
    "clog": Cause(
        "nozzle clogged",
        (
            "look along the boom for a fan that is thin or missing",
            f"tap that nozzle's body; then clean tip and screen with a brush, {_OFF}",
            "no bad fan: look for a kinked boom hose",
        ),
        "all fans whole: the flow meter reads low, not the boom",
        "under",
    ),
    "meter_low": Cause(
        "flow meter reads low",
        ("look along the boom: all fans are whole", "compare with a catch test", f"clean the meter's rotor, {_OFF}"),
        "a thin or missing fan: it is a clogged nozzle after all",
        "unknown",
    ),
    "wear": Cause(
        "nozzle worn, or a small leak after the meter",
        ("look for drips at boom, hoses and fittings", "catch each nozzle and compare", "replace worn tips as a set"),
        "a drip or a wet hose: it is a leak",
        "over",
        False,
    ),
    "leak": Cause(
        "leak after the meter, or a tip loose",
        ("look and listen for spray where none should be", "hand on each hose joint, gloves on", f"tighten, {_OFF}"),
        "one jet instead of a fan: a tip is lost",
        "unknown",
    ),
    "lost_tip": Cause(
        "nozzle tip lost, or a hose off",
        ("look along the boom for a jet instead of a fan", f"stop and refit the tip, {_OFF}", "look at the hoses"),
        "all fans whole: a hose or joint leaks",
        "over",
    ),
    "pressure_low": Cause(
        "pressure does not hold",
        (
            "look at the battery's voltage",
            "look at the regulator's knob: has it been turned or shaken loose?",
            f"clean the suction strainer, {_OFF}",
        ),
        "pressure comes back when the boom is shut: the pump gets or gives too little; if not, it is the regulator",
        "under",
    ),
    "supply_short": Cause(
        "pump gives too little: suction or strainer blocked, or battery weak",
        ("look at the battery's voltage", "look for a kinked or sucking-flat hose", f"clean the strainer, {_OFF}"),
        "voltage is good: it is the suction side",
        "under",
    ),
    "regulator": Cause(
        "regulator does not hold, or its knob has been turned",
        ("turn the knob back up and watch the pressure", f"look for dirt under the regulator's seat, {_OFF}"),
        "the knob does nothing: dirt in the seat or a broken spring",
        "under",
    ),
    "battery": Cause(
        "battery is going flat",
        ("look at the voltage while the pump runs", "feel for hot clamps", "change or charge it; no sparks near it"),
        "",
        "under",
    ),
    "air": Cause(
        "air in the suction",
        ("look how full the tank is", "look for a suction hose above the liquid", "tighten the strainer's bowl"),
        "tank well filled: a joint on the suction side draws air",
        "under",
    ),
    "tank_empty": Cause(
        "tank is empty", ("look into the tank", "switch the pump off: it must not run dry"), "", "under"
    ),
    "valve_shut": Cause(
        "boom valve shut, or the boom's hose blocked",
        ("look whether anything sprays", "look at the valve's handle or its plug", "look for a kinked boom hose"),
        "the boom sprays: the flow meter has stopped, not the flow",
        "under",
    ),
    "pump_off": Cause(
        "no pressure and no flow: pump off, or tank empty",
        ("listen: does the pump run?", "look into the tank", "look at fuse and switch"),
        "pump runs with liquid in the tank: the suction has lost its prime, or a valve before the sensors is shut",
        "under",
    ),
    "meter_stuck": Cause(
        "flow meter gives no pulses",
        ("look whether the boom sprays", "push the meter's plug home", f"free the rotor, {_OFF}"),
        "nothing sprays: the boom valve is shut or the line is blocked",
        "unknown",
    ),
    "meter_missing": Cause(
        "flow meter loses pulses",
        ("push the meter's plug home", "look at the wire where it moves", "hold the meter away from metal and motor"),
        "all fans whole and the reading jumps: it is the meter",
        "unknown",
    ),
    "meter_noise": Cause(
        "false pulses from the flow meter",
        ("keep its wire away from pump and battery leads", "look at its plug for wet", "look at its screen and earth"),
        "",
        "unknown",
    ),
    "transducer_open": Cause(
        "pressure transducer not connected",
        ("push its plug home", "look at the wire where it moves"),
        "",
        "none",
    ),
    "transducer_short": Cause(
        "pressure transducer's signal touches its supply",
        ("look at its plug for wet or bent pins", "look at the wire where it rubs"),
        "",
        "none",
    ),
    "transducer_frozen": Cause(
        "pressure reading is frozen",
        ("turn the knob: does the reading move?", "pull and refit the transducer's plug"),
        "",
        "none",
    ),
    "transducer_drift": Cause(
        "pressure reading has moved although the flow has not",
        ("compare with a gauge", "pump off and pressure released: does it read zero?", "span the transducer again"),
        "",
        "none",
        False,
    ),
    "wheel_stuck": Cause(
        "wheel gives no pulses while spraying",
        ("look whether the wheel turns", "look at the sensor's gap to the magnets", "push its plug home"),
        "the sprayer stands still: nothing is wrong with the wheel, stop spraying",
        "unknown",
    ),
    "board_reset": Cause(
        "the board has restarted",
        ("look at its supply plug", "look at the battery's voltage while the pump starts"),
        "",
        "none",
    ),
    "link_stale": Cause(
        "nothing came from the board",
        ("look at the cable at both ends", "move the laptop closer or fix the cable"),
        "",
        "none",
    ),
    "link_poor": Cause(
        "lines from the board are being lost",
        ("look at the cable at both ends", "keep it away from pump and battery leads"),
        "",
        "none",
        False,
    ),
}

# Look-alikes: to flow and pressure these are the same, or nearly so.
LOOK_ALIKE: dict[str, tuple[str, ...]] = {
    "meter_stuck": ("valve_shut",),
    "valve_shut": ("meter_stuck",),
    "lost_tip": ("leak",),
    "leak": ("lost_tip", "wear"),
    "wear": ("leak",),
    "supply_short": ("battery",),
}
