"""A run file by RUN_FILE.md, made without waiting: what a recorder would have written at these moments."""

import json
import zlib
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from .line import Pieces


@dataclass
class _Records:
    text: bytearray = field(default_factory=bytearray)
    counts: Counter[str] = field(default_factory=Counter)

    def add(self, tag: str, time: float, payload: str) -> None:
        body = f"{tag} {time:013.6f} {payload} ".encode("ascii")
        self.text += body + f"{zlib.crc32(body):08X}\n".encode("ascii")
        self.counts[tag] += 1


def _payload(raw: bytes) -> str:
    return "".join(chr(one) if 0x20 <= one <= 0x7E and one != 0x5C else f"\\x{one:02X}" for one in raw)


def write_run(path: Path, pieces: Pieces, rig: str, lasts: float, started: str = "2026-05-14T09:00:00+01:00") -> Path:
    """Write what came, read at these moments (seconds since the run began), as one run that ended in good order."""
    records = _Records()
    header = {"format": "swardflow run", "schema": "1.1", "protocol": "1.1", "started": started, "port": "invented"}
    for _ in range(2):
        records.add("H", 0.0, json.dumps(header))
        records.add("G", 0.0, json.dumps({"toml": rig}))
    records.add("E", 0.0, json.dumps({"kind": "run_start"}))
    half, ends = b"", 0.0
    for when, data in pieces:
        *lines, half = (half + data).split(b"\n")
        ends = max(ends, when)
        for one in lines:
            raw = one.removesuffix(b"\r")
            if raw:
                records.add("L", ends, _payload(raw))
    ends = max(ends, lasts)
    records.add("E", ends, json.dumps({"kind": "run_end", "reason": "asked to stop"}))
    trailer = {
        "status": "complete",
        "reason": "asked to stop",
        "records": dict(records.counts),
        "segment": 0,
        "segment_records": dict(records.counts),
        "segment_crc": f"{zlib.crc32(records.text):08X}",
    }
    records.add("Z", ends, json.dumps(trailer))
    path.write_bytes(records.text)
    return path
