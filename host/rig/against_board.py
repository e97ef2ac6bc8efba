"""What the rig needs, held against what the board says of itself: a sentence for each thing that does not fit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from firmware_protocol.messages import INTERVAL_RANGE_MS, PROTOCOL_VERSION, Capability
from firmware_protocol.version import speaks_our_protocol
from host.rig.model import Rig

_LEAST_FULL_SCALE = 255
NO_IDENTITY = "The board never said who it is: what is fitted on it, and its converter's range, are guesses."


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
        said.append("The board has no spray switch input, the rig has a switch: whether it sprays is told by the flow.")
    if rig.pressure and not fitted & Capability.PRESSURE:
        said.append("The board has no pressure input, the rig has a transducer: no pressure, and no clog can be seen.")
    elif rig.pressure and int(identity.get("adc_full_scale") or 0) < _LEAST_FULL_SCALE:
        said.append("The board's converter is too coarse to read a pressure.")
    low, high = INTERVAL_RANGE_MS
    interval = int(identity.get("interval_ms") or 0)
    if not low <= interval <= high:
        said.append(f"The board says that it reports every {interval} ms; {low} to {high} ms are possible.")
    return tuple(said)
