"""What the rig needs, held against what the board says of itself: a sentence for each thing that does not fit."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from firmware_protocol.messages import FILTER_INPUTS, INTERVAL_RANGE_MS, PROTOCOL_VERSION, Capability, FilterRule
from firmware_protocol.version import speaks_our_protocol
from host.rig.model import Rig
from host.rig.sensors import SENSORS

_LEAST_FULL_SCALE = 255
NO_IDENTITY = "The board never said who it is: what is fitted on it is a guess, and no pressure can be read."
DEAF = "The board sends but does not answer: check the wire from the computer to the board."


def board_misfits(rig: Rig, identity: Mapping[str, Any]) -> tuple[str, ...]:
    """Sentences, none when all fits; `identity` holds the fields of firmware_protocol.messages.Identity."""
    if not speaks_our_protocol(str(identity.get("protocol", PROTOCOL_VERSION))):
        return (
            f"The board speaks protocol {identity.get('protocol')}, this program {PROTOCOL_VERSION}: its lines are "
            "saved and not read. Load the firmware that belongs to this program, or update it.",
        )
    fitted = Capability(int(identity.get("capabilities") or 0))
    said = []
    if not fitted & Capability.FLOW:
        said.append("The board has no flow meter input: no volume and no rate.")
    if rig.wheel and not fitted & Capability.WHEEL:
        said.append("The board has no wheel input, the rig has a wheel: no distance, no area, no rate.")
    if rig.spray_switch and not fitted & Capability.SWITCH:
        told = "told by the flow" if fitted & Capability.FLOW else "not known"
        said.append(f"The board has no spray switch input, the rig has a switch: whether it sprays is {told}.")
    if rig.pressure and not fitted & Capability.PRESSURE:
        said.append("The board has no pressure input, the rig has a transducer: no pressure, and no clog can be seen.")
    elif rig.pressure and int(identity.get("adc_full_scale") or 0) < _LEAST_FULL_SCALE:
        said.append("The board's converter is too coarse to read a pressure.")
    if not _takes_filters(str(identity.get("protocol", PROTOCOL_VERSION))):
        said.extend(_bouncing(rig))
    low, high = INTERVAL_RANGE_MS
    interval = int(identity.get("interval_ms") or 0)
    if not low <= interval <= high:
        said.append(f"The board says that it reports every {interval} ms; {low} to {high} ms are possible.")
    return tuple(said)


def interval_not_taken(wanted_ms: int, in_force_ms: int, *, refused: bool = False) -> str:
    """That the board reports at another interval than the rig file asks for."""
    does = "refuses, and reports" if refused else "reports"
    later = f", and a fault is said {(in_force_ms - wanted_ms) / 1000:.2g} s later" if in_force_ms > wanted_ms else ""
    return (
        f"The rig file asks for a report every {wanted_ms} ms; the board {does} every {in_force_ms} ms. Volume, area "
        f"and rate are as good{later}."
    )


def inputs_of(filters: Collection[int]) -> set[str]:
    """The inputs, "flow" and "wheel", of such arguments of the command `f` as ask for the rule of rest."""
    names = {Capability.FLOW: "flow", Capability.WHEEL: "wheel"}
    return {names[FILTER_INPUTS[one >> 20]] for one in filters if one >> 16 & 0xF == FilterRule.REST}


def unfiltered_message(rig: Rig, inputs: Collection[str]) -> str:
    """That the board has not taken the filter that a contact needs, for "flow", "wheel" or both; empty for none."""
    kinds = {"flow": ("flow meter", rig.meter_sensor), "wheel": ("wheel", rig.wheel_sensor)}
    said = [
        f"The {name}'s {kind} bounces and the board does not filter it: what it counts may be several times the truth."
        for which, (name, kind) in kinds.items()
        if which in inputs
    ]
    lost = "Volume and rate" if "flow" in inputs else "Area and rate"
    return " ".join([*said, f"{lost} are not known until it does."]) if said else ""


def _takes_filters(version: str) -> bool:
    """Whether the board knows the command `f`: from version 1.1 on (PROTOCOL.md, section 11)."""
    minor = version.partition(".")[2]
    return not minor.isdecimal() or int(minor) >= 1


def _bouncing(rig: Rig) -> list[str]:
    """Contacts, which a board without filters counts once for each bounce."""
    kinds = [("flow meter", "flow", rig.meter_sensor)]
    if rig.wheel:
        kinds.append(("wheel", "distance", rig.wheel_sensor))
    return [
        f"The {name}'s {kind} bounces, and this board (protocol 1.0) cannot filter it: it may count several times the "
        f"{quantity} there is. Load firmware 1.1."
        for name, quantity, kind in kinds
        if SENSORS[kind].rule is FilterRule.REST
    ]
