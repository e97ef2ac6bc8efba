"""What a process takes of the machine, as Linux counts it (proc(5))."""

from __future__ import annotations

import os
import re
from pathlib import Path

_TICK_S = 1 / os.sysconf("SC_CLK_TCK")


def own_memory_kb(pid: int | str = "self") -> int:
    """Memory that a process holds of its own, in kB: RssAnon, which leaves out what it shares with files."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    found = re.search(r"^RssAnon:\s+(\d+) kB", status, re.MULTILINE)
    assert found
    return int(found[1])


def memory_mb(pid: int | str = "self") -> float:
    """Memory of a process in MB, with its part of what it shares with others (PSS)."""
    found = re.search(r"^Pss:\s+(\d+) kB", Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii"), re.MULTILINE)
    assert found
    return int(found[1]) / 1024


def processor_s(pid: int | str = "self") -> float:
    """Seconds of processor time that a process has used, user and system."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) * _TICK_S
