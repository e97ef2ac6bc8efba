"""The newest numbers in SI units, for programs; screens get texts (screen.py)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Figures:
    """What is known of the newest run: its name, the last row of `live_row`, and how old that may be to be shown."""

    run: str = ""
    row: Mapping[str, Any] = field(default_factory=dict)
    stale_ms: int = 0
    recording: str = "unknown"  # a key of recorder_client.RECORDING
