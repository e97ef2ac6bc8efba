"""How a recording stands, in one line that keeps itself up to date.

It is printed by a thread of its own: a terminal that is held up must not hold up the recording.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Mapping
from typing import Any, Self, TextIO

from host.log import is_quiet, keep
from host.recorder.recorder import is_alarm

INTERVAL_S = 0.5
_CLEARED = "\r\x1b[K"
LINK_WORDS = {
    "ok": "board heard",
    "silent": "NOTHING HEARD FROM THE BOARD",
    "lost": "PORT GONE, trying again",
    "unreadable": "WHAT ARRIVES CANNOT BE READ",
    "closed": "ending",
    "wrong protocol": "BOARD SPEAKS ANOTHER PROTOCOL",
}


def status_text(status: Mapping[str, Any]) -> str:
    """One line for a status of the recorder."""
    seconds = int(status["run_s"])
    parts = [
        f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}",
        f"{status['lines']} lines",
        LINK_WORDS.get(status["link"], str(status["link"])),
    ]
    if status["wire_damage"]:
        parts.insert(2, f"{status['wire_damage']} damaged")
    if status["bytes_waiting"] and is_alarm(status):
        parts.append(f"{status['state'].upper()}, {status['bytes_waiting'] // 1000} kB wait in memory: make room")
    elif status["trouble"]:
        parts.append(f"DISK TROUBLE: {status['trouble']}")
    if rescued := status.get("rescued"):
        parts.append(f"FILE LOST: {rescued[-1]}")
    if status["link_trouble"]:
        parts.append(status["link_trouble"])
    if status["lines_lost"]:
        parts.append(f"{status['lines_lost']} LINES LOST")
    return "  ".join(parts)


class StatusLine:
    """Prints `status` twice a second on a terminal; elsewhere, and in the log file, a line whenever the state changes.

    Where little is wanted (-q), only an alarm.
    """

    def __init__(self, status: Callable[[], Mapping[str, Any]], out: TextIO | None = None) -> None:
        self._status = status
        self._out = out or sys.stderr
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="swardflow status", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        self._thread.join(2 * INTERVAL_S)  # a held-up terminal is not waited for

    def _run(self) -> None:
        quiet = is_quiet()
        terminal = self._out.isatty() and not quiet
        shown: tuple[str, str, int] | None = None
        told: set[str] = set()
        try:
            while not self._ending.wait(INTERVAL_S):
                status = self._status()
                state = (str(status["state"]), str(status["link"]), len(status.get("rescued", ())))
                for notice in (one for one in status.get("notices", ()) if one not in told):
                    self._out.write(f"{_CLEARED if terminal else ''}{notice}\n")
                    keep(notice)
                    told.add(notice)
                changed = state != shown and (shown or is_alarm(status)) and status["state"] != "stopping"
                if changed:
                    keep(status_text(status))
                if terminal:
                    self._out.write(f"{_CLEARED}{status_text(status)}")
                elif changed and (not quiet or is_alarm(status)):
                    self._out.write(status_text(status) + "\n")
                self._out.flush()
                shown = state
            if terminal:
                self._out.write("\n")
                self._out.flush()
        except (OSError, ValueError):
            return  # nobody looks on any more
