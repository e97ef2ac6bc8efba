"""Reads the golden vectors: see PROTOCOL.md, section 12."""

from __future__ import annotations

import re
from pathlib import Path

import firmware_protocol

FOLDER = Path(firmware_protocol.__file__).parent
VECTORS = FOLDER / "vectors"


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a vector file, by column name."""
    lines = (VECTORS / name).read_text(encoding="utf-8").splitlines()
    head, *body = [line.split("\t") for line in lines if not line.startswith("#")]
    return [dict(zip(head, cells, strict=True)) for cells in body]


def unescape(text: str) -> bytes:
    """The bytes of a `line` cell."""
    return re.sub(rb"\\x([0-9A-F]{2})", lambda match: bytes([int(match[1], 16)]), text.encode("ascii"))
