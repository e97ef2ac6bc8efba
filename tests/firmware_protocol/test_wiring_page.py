"""WIRING.md, its schematic and the firmware name the same pins, parts and limits."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

from tests.firmware_protocol.board_tools import BOARD
from tests.firmware_protocol.vector_files import FOLDER

PAGE = (FOLDER / "WIRING.md").read_text(encoding="utf-8")
CHIP = BOARD / "swardflow_board" / "src" / "atmega328p"
MARK = r"\b[RCDQLF]\d\b"


def _schematic() -> list[str]:
    root = ET.fromstring((FOLDER / "wiring.svg").read_text(encoding="utf-8"))
    return ["".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text")]


def _table(heading: str) -> list[list[str]]:
    lines = PAGE[PAGE.index(f"\n| {heading} |") + 1 :].split("\n\n", maxsplit=1)[0].splitlines()[2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_parts_of_the_schematic_are_the_parts_listed() -> None:
    drawn = set(re.findall(MARK, " ".join(_schematic())))
    listed = {mark for row in _table("Mark") for mark in re.findall(MARK, row[0])}
    assert drawn == listed
    assert len(drawn) > 15


def test_values_drawn_are_the_values_listed() -> None:
    listed = {mark: row[1] for row in _table("Mark") for mark in re.findall(MARK, row[0])}
    texts = _schematic()
    for place, text in enumerate(texts):
        mark = re.match(MARK, text)
        value = re.search(r"[\d.]+ (?:k?Ω|nF|µF)", " ".join(texts[place : place + 2]) if mark else "")
        if mark and value:
            assert value[0] in listed[mark[0]], mark[0]


def test_pins_are_those_of_the_firmware() -> None:
    header = (CHIP / "chip.h").read_text(encoding="utf-8")
    rows = re.findall(r"^ \*   (\w[\w ]*?) {2,}(P\w\d(?:, P\w\d)?) +([\w, ]+?)(?: {2,}.*)?$", header, re.MULTILINE)
    firmware = {(name.split()[0], chip, hobby) for name, chip, hobby in rows}
    page = {(row[0].split()[0].lower(), row[1], row[2]) for row in _table("What")}
    assert {(name, chip, hobby) for name, chip, hobby in page if name != "spray"} == {
        (name, chip, hobby) for name, chip, hobby in firmware if name != "spray"
    }
    assert len(page) == 7
    drawn = " ".join(_schematic())
    for name, chip, hobby in page - {row for row in page if row[0] == "serial"}:
        assert f"{hobby}  ({chip})" in drawn or f"({chip})  {hobby}" in drawn, name


def test_glitch_limits_are_those_of_the_firmware() -> None:
    source = (CHIP / "edges.c").read_text(encoding="utf-8")
    usual = re.search(r"usual = \{\{FILTER_SPACING, (\d+)\}, \{FILTER_SPACING, (\d+)\}\}", source)
    assert usual
    flow, wheel = usual.groups()
    assert re.search(rf"{flow} µs on the flow input and {wheel} µs on the wheel", re.sub(r"\s+", " ", PAGE))


def test_filter_times_are_arithmetic() -> None:
    """Time constants R·C of the pulse inputs: through R2 when falling, through R1 and R2 when rising."""
    falling, rising = 1e3 * 10e-9, (2.2e3 + 1e3) * 10e-9
    assert f"{falling * 1e6:.0f} µs falling, {rising * 1e6:.0f} µs rising" in PAGE
    assert f"{1 / (2 * 3.14159 * 1e3 * 100e-9) / 1e3:.1f} kHz" in PAGE
