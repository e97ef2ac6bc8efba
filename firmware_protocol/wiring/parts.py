"""Every part of the wiring: what it is, where its legs go. The drawings are made of it, the list in WIRING.md is it."""

from __future__ import annotations

from dataclasses import dataclass

# Ratings are those that any part of the kind meets.


@dataclass(frozen=True)
class Part:
    """`legs` are nets: anode, cathode; plus, minus; collector, base, emitter; in, ground, out."""

    mark: str
    kind: str
    value: str  # as drawn and listed
    legs: tuple[str, ...]
    on_board: bool = True  # on the stripboard; else in a cable or at the part it protects


def _part(mark: str, kind: str, value: str, legs: str, on_board: bool = True) -> Part:
    return Part(mark, kind, value, tuple(legs.split()), on_board)


PARTS = (
    _part("R1", "resistor", "2.2 kΩ", "5V-sensors flow"),
    _part("R2", "resistor", "2.2 kΩ", "flow pin-8"),
    _part("R3", "resistor", "2.2 kΩ", "5V-sensors wheel"),
    _part("R4", "resistor", "2.2 kΩ", "wheel pin-2"),
    _part("R5", "resistor", "2.2 kΩ", "pressure pin-A0"),
    _part("R6", "resistor", "1 kΩ", "5V switch"),
    _part("R7", "resistor", "2.2 kΩ", "switch pin-4"),
    _part("R8", "resistor", "150 Ω", "pin-6 light"),
    _part("R9", "resistor", "1 kΩ", "pin-5 Q1-base"),
    _part("R10", "resistor", "10 kΩ", "valve Q2-base"),
    _part("R11", "resistor", "2.2 kΩ", "Q2-base ground"),
    _part("R12", "resistor", "10 kΩ", "Q1-base ground"),
    _part("C1", "capacitor", "4.7 nF", "pin-8 ground"),
    _part("C2", "capacitor", "4.7 nF", "pin-2 ground"),
    _part("C3", "capacitor", "47 nF", "pin-A0 ground"),
    _part("C4", "capacitor", "100 nF", "pin-4 ground"),
    _part("C5", "electrolytic", "2,200 µF", "regulator-in ground"),
    _part("C6", "electrolytic", "100 µF", "regulator-out ground"),
    _part("C7", "capacitor", "100 nF", "pump ground", on_board=False),
    _part("C8", "capacitor", "100 nF", "5V ground"),
    _part("D1", "schottky", "3 A, 40 V", "supply after-D1"),
    _part("D2", "suppressor", "16 V", "ground after-D1"),
    _part("D3", "light", "5 cd", "light ground", on_board=False),
    _part("D4", "diode", "1 A", "buzzer 5V"),
    _part("D5", "schottky", "10 A, 60 V", "ground pump", on_board=False),
    _part("D6", "suppressor", "5 V", "ground 5V"),
    _part("D7", "schottky", "0.2 A, 30 V", "pin-8 5V"),
    _part("D8", "schottky", "0.2 A, 30 V", "pin-2 5V"),
    _part("D9", "schottky", "0.2 A, 30 V", "pin-A0 5V"),
    _part("D10", "schottky", "0.2 A, 30 V", "pin-4 5V"),
    _part("D11", "diode", "0.1 A", "ground Q2-base"),
    _part("D12", "diode", "1 A", "ground valve", on_board=False),
    _part("Q1", "transistor", "NPN", "buzzer Q1-base ground"),
    _part("Q2", "transistor", "NPN", "switch Q2-base ground"),
    _part("L1", "choke", "100 µH", "after-D1 regulator-in"),
    _part("F1", "fuse", "as the pump asks", "battery pump-feed", on_board=False),
    _part("F2", "fuse", "2 A slow", "battery supply", on_board=False),
    _part("F3", "resettable", "0.3 A", "5V 5V-sensors"),
    _part("F4", "resettable", "0.3 A", "5V 5V-pressure"),
    _part("U1", "regulator", "5 V, 1 A", "regulator-in ground regulator-out"),
    _part("JP1", "jumper", "closed", "regulator-out 5V"),
)
BY_MARK = {part.mark: part for part in PARTS}

# Cores of cables, and wires to the microcontroller board, by net: each is soldered to the stripboard.
CABLES = {
    "Battery": {"+, from F2": "supply", "−": "ground"},
    "Flow meter": {"5 V": "5V-sensors", "signal": "flow", "ground": "ground"},
    "Wheel sensor": {"5 V": "5V-sensors", "signal": "wheel", "ground": "ground"},
    "Transducer": {"5 V": "5V-pressure", "signal": "pressure", "ground": "ground"},
    "Spray switch": {"contact": "switch", "ground": "ground"},
    "Valve": {"12 V": "valve"},
    "Light": {"+": "light", "−": "ground"},
    "Buzzer": {"+": "5V", "−": "buzzer"},
}
BOARD_PINS = {
    "8": "pin-8",
    "2": "pin-2",
    "A0": "pin-A0",
    "4": "pin-4",
    "5": "pin-5",
    "6": "pin-6",
    "5V": "5V",
    "GND": "ground",
}
