"""Writes the drawings beside WIRING.md."""

from pathlib import Path

from firmware_protocol.wiring.schematic import schematic
from firmware_protocol.wiring.stripboard import stripboard

FOLDER = Path(__file__).parent.parent
(FOLDER / "wiring.svg").write_text(schematic(), encoding="utf-8")
(FOLDER / "stripboard.svg").write_text(stripboard(), encoding="utf-8")
