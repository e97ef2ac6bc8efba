"""WIRING.md, its drawings, its parts and the firmware agree, and its figures are arithmetic."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree as ET

from firmware_protocol.wiring.parts import BOARD_PINS, BY_MARK, CABLES, PARTS
from firmware_protocol.wiring.schematic import schematic
from firmware_protocol.wiring.stripboard import STRIPS, Layout, layout, stripboard
from tests.firmware_protocol.board_tools import BOARD
from tests.firmware_protocol.vector_files import FOLDER

PAGE = (FOLDER / "WIRING.md").read_text(encoding="utf-8")
PROSE = re.sub(r"\s+", " ", "\n".join(line for line in PAGE.splitlines() if not line.startswith("|")))
CHIP = BOARD / "swardflow_board" / "src" / "atmega328p"
MARK = r"\b(?:[RCDQLFU]|JP)\d+\b"
PIN_LIMIT_A = 1e-3  # current into a pin's own clamp that the chip's maker advises not to exceed: from memory
CHARGING_V = 14.4  # a lead-acid battery on its charger: common practice


def ohms(mark: str) -> float:
    number, unit = BY_MARK[mark].value.split()
    return float(number) * {"Ω": 1.0, "kΩ": 1e3}[unit]


def farads(mark: str) -> float:
    number, unit = BY_MARK[mark].value.split()
    return float(number.replace(",", "")) * {"nF": 1e-9, "µF": 1e-6}[unit]


def _texts(drawing: str) -> list[str]:
    root = ET.fromstring((FOLDER / drawing).read_text(encoding="utf-8"))
    return ["".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text")]


def _table(heading: str) -> list[list[str]]:
    lines = PAGE[PAGE.index(f"\n| {heading} |") + 1 :].split("\n\n", maxsplit=1)[0].splitlines()[2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def _listed() -> dict[str, list[str]]:
    return {mark: row for row in _table("Mark") for mark in re.findall(MARK, row[0])}


def test_drawings_are_as_their_parts_make_them() -> None:
    """`python -m firmware_protocol.wiring` writes them anew."""
    assert (FOLDER / "wiring.svg").read_text(encoding="utf-8") == schematic()
    assert (FOLDER / "stripboard.svg").read_text(encoding="utf-8") == stripboard()


def test_parts_drawn_are_the_parts_listed_and_told_of() -> None:
    assert set(re.findall(MARK, " ".join(_texts("wiring.svg")))) == set(BY_MARK) == set(_listed())
    on_board = {part.mark for part in PARTS if part.on_board}
    assert set(re.findall(MARK, " ".join(_texts("stripboard.svg")))) - {"F2"} == on_board
    told = set(re.findall(MARK, PROSE))
    for first, last in re.findall(r"D(\d+) to D(\d+)", PROSE):
        told |= {f"D{nth}" for nth in range(int(first), int(last) + 1)}
    assert set(BY_MARK) - told == set()


def test_values_drawn_are_the_values_listed_and_pieces_are_counted() -> None:
    listed, drawn = _listed(), " ".join(_texts("wiring.svg"))
    for part in PARTS:
        assert re.search(rf"{part.mark}(?: regulator)? {re.escape(part.value)}", drawn), part.mark
        assert re.search(rf"(?<![\d.]){re.escape(part.value)}(?!\w)", listed[part.mark][2]), part.mark
    for row in _table("Mark"):
        assert int(row[1]) == len(re.findall(MARK, row[0])), row


# ---- stripboard ----


def _wrong(plan: Layout) -> list[str]:
    """Legs on a strip of another net, two things in one hole, nets that are not joined, parts that are missing."""
    wrong = [part.mark for part in PARTS if part.on_board != (part.mark in plan.parts)]
    for part in PARTS:
        for leg, hole in zip(part.legs, plan.parts.get(part.mark, ()), strict=False):
            if STRIPS[hole.row] != leg:
                wrong.append(f"{part.mark} {leg}")
    wrong += [
        f"{cable}: {core}"
        for cable, cores in CABLES.items()
        for core, net in cores.items()
        if STRIPS[plan.cables[f"{cable}: {core}"].row] != net
    ]
    wrong += [pin for pin, net in BOARD_PINS.items() if STRIPS[plan.pins[pin].row] != net]
    wrong += [f"link {above}" for above, below in plan.links if STRIPS[above.row] != STRIPS[below.row]]
    # A link's end may share its hole with the next link of the same net.
    holes = [hole for legs in plan.parts.values() for hole in legs] + [*plan.cables.values(), *plan.pins.values()]
    holes += list({hole for link in plan.links for hole in link})
    wrong += [str(hole) for hole in set(holes) if holes.count(hole) > 1]
    wrong += [str(hole) for hole in holes if not (0 <= hole.row < len(STRIPS) and 0 <= hole.column < plan.columns)]
    for net in set(STRIPS):
        rows = {row for row, strip in enumerate(STRIPS) if strip == net}
        joined = {min(rows)}
        for _ in rows:
            joined |= {b.row for a, b in plan.links if a.row in joined} | {
                a.row for a, b in plan.links if b.row in joined
            }
        if rows - joined:
            wrong.append(f"{net} is in pieces")
    return wrong


def test_the_stripboard_joins_what_the_schematic_joins() -> None:
    plan = layout()
    assert _wrong(plan) == []
    assert f"{len(STRIPS)} strips by {plan.columns} holes" in PAGE
    broken = Layout(plan.parts, plan.links[1:], plan.cables, plan.pins, plan.columns)
    assert _wrong(broken), "so it could fail"
    swapped = plan.parts | {"R1": plan.parts["R3"], "R2": plan.parts["R4"]}
    assert _wrong(Layout(swapped, plan.links, plan.cables, plan.pins, plan.columns))


def test_nothing_hangs_in_the_air() -> None:
    """Each net has two ends at least, a part's or a cable's."""
    ends = [leg for part in PARTS for leg in part.legs]
    ends += [net for cores in CABLES.values() for net in cores.values()] + list(BOARD_PINS.values())
    assert {net for net in set(ends) if ends.count(net) < 2} - {"pump-feed"} == set()


# ---- the firmware ----


def test_pins_are_those_of_the_firmware() -> None:
    header = (CHIP / "chip.h").read_text(encoding="utf-8")
    rows = re.findall(r"^ \*   (\w[\w ]*?) {2,}(P\w\d(?:, P\w\d)?) +([\w, ]+?)(?: {2,}.*)?$", header, re.MULTILINE)
    firmware = {(name.split()[0], chip, hobby) for name, chip, hobby in rows}
    page = {(row[0].split()[0].lower(), row[1], row[2]) for row in _table("What")}
    assert {(name, chip, hobby) for name, chip, hobby in page if name != "spray"} == {
        (name, chip, hobby) for name, chip, hobby in firmware if name != "spray"
    }
    assert len(page) == 7
    drawn = " ".join(_texts("wiring.svg"))
    for name, chip, hobby in page - {row for row in page if row[0] == "serial"}:
        assert f"{hobby}  ({chip})" in drawn or f"({chip})  {hobby}" in drawn, name


def test_glitch_limits_are_those_of_the_firmware() -> None:
    source = (CHIP / "edges.c").read_text(encoding="utf-8")
    usual = re.search(r"usual = \{\{FILTER_SPACING, (\d+)\}, \{FILTER_SPACING, (\d+)\}\}", source)
    assert usual
    flow, wheel = usual.groups()
    assert re.search(rf"{flow} µs on the flow input and {wheel} µs on the wheel", re.sub(r"\s+", " ", PAGE))


# ---- arithmetic ----


def test_filter_times_are_arithmetic() -> None:
    """Time constants R·C of the inputs: through R2 when falling, through R1 and R2 when rising; corner 1/(2πRC)."""
    falling, rising = ohms("R2") * farads("C1"), (ohms("R1") + ohms("R2")) * farads("C1")
    assert f"{falling * 1e6:.0f} µs falling, {rising * 1e6:.0f} µs rising" in PAGE
    assert (ohms("R3"), ohms("R4"), farads("C2")) == (ohms("R1"), ohms("R2"), farads("C1"))
    assert f"pressure: {1 / (2 * math.pi * ohms('R5') * farads('C3')) / 1e3:.1f} kHz" in PAGE
    assert f"{1 / (2 * math.pi * (10e3 * 20e3 / 30e3) * 15e-9) / 1e3:.1f} kHz behind the divider" in PROSE
    assert rising < 100e-6 / 2, "well below the filter of the firmware"


def test_currents_of_contacts_and_outputs() -> None:
    assert f"{5 / ohms('R1') * 1e3:.1f} mA" in _listed()["R1"][3]
    assert f"{5 / ohms('R6') * 1e3:.0f} mA keep its contacts clean" in _listed()["R6"][3]
    high, amber = 4.5, 2.1  # V of a pin at 16 mA and of the diode: from memory
    assert f"some {(high - amber) / ohms('R8') * 1e3:.0f} mA from the pin" in PROSE
    assert f"R8 becomes 100 Ω: {(3.3 - amber) / 100 * 1e3:.0f} mA" in PROSE
    base = (9 - 0.7) / ohms("R10") - 0.7 / ohms("R11")
    assert f"{base * 1e3:.1f} mA into its base" in PROSE
    assert 5 / ohms("R6") / base < 20, "a small transistor saturates"
    assert f"{0.65 * (ohms('R10') / ohms('R11') + 1):.1f} V on (R11) Q2" in PROSE


def test_a_low_input_is_low_against_the_chips_own_pull_up() -> None:
    """VIL 0.3 · VCC = 1.5 V at most, pull-up 20 kΩ at least: data sheet of the ATmega328P, from memory."""
    low = 0.4 + (5 - 0.4) * ohms("R2") / (ohms("R2") + 20e3)
    assert "below 0.9 V" in PROSE and low < 0.9 < 0.3 * 5


def test_twelve_volts_on_a_signal_wire() -> None:
    through_clamp = (CHARGING_V - 5.0 - 0.3) / ohms("R2")
    assert f"through R2 and D7 {through_clamp * 1e3:.0f} mA" in PROSE
    assert f"through R1 another {(CHARGING_V - 5.0) / ohms('R1') * 1e3:.0f} mA" in PROSE
    assert through_clamp < 0.2, "what the clamp carries"
    assert (CHARGING_V - 5.5) / ohms("R2") > PIN_LIMIT_A, "why there is a clamp"
    assert "clamps below 30 V" in _listed()["D2"][2] and "to 35 V" in _listed()["U1"][2]


def test_how_long_the_supply_is_held_up() -> None:
    """Energy ½CV² between two voltages over the power taken."""
    power = round(5 * 0.13 / 0.85, 2) - 0.01
    held = farads("C5") * (11.6**2 - 6.5**2) / (2 * 0.75)
    assert abs(power - 0.75) < 0.02
    assert f"= {held * 1e3:.0f} ms, and {held * 0.8 * 1e3:.0f} ms" in PROSE
    assert held * 0.8 > 0.1, "longer than an inrush"


def test_a_resettable_fuse_costs_the_transducer_little() -> None:
    drop = 0.010 * 2.0
    assert f"{drop * 1e3:.0f} mV of its supply at 10 mA, {drop / 5:.1%}".replace("%", " %") in PROSE


def test_the_fuse_of_the_board_stands_the_filling_of_its_capacitor() -> None:
    """∫i² dt = C·V² ÷ 2R of a capacitor through a resistance; a slow 2 A fuse melts at some 5 A²s: from memory."""
    assert farads("C5") * CHARGING_V**2 / (2 * 0.3) < 2.5
