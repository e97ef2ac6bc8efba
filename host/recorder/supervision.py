"""What the pages ask of the process that started them: to start a recorder, and how the recorder is doing.

Requests go over a socket like that of a recorder (control.py), which lies in a folder of this user alone. What is asked
for is named, never a command line: the arguments of the recorder are put together here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from host.errors import BadInputError
from host.recorder.control import ask_at

# What the supervisor's status says of its recorder.
IDLE, STARTING, RECORDING, ENDED, FAILED = "idle", "starting", "recording", "ended", "failed"
BUSY = (STARTING, RECORDING)
_TEXTS = ("port", "rig", "tank", "mix")


@dataclass(frozen=True)
class RunRequest:
    """A run to be started. `rig` is the path of a rig file, `tank` a volume as typed, `mix` the path of a sheet."""

    port: str
    rig: str
    tank: str = ""
    mix: str = ""
    notes: Mapping[str, str] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """As it is asked for."""
        return {"ask": "start", "notes": dict(self.notes)} | {name: getattr(self, name) for name in _TEXTS}

    def arguments(self) -> list[str]:
        """The arguments of `swardflow record`."""
        options = [f"--rig={self.rig}"]
        options += [f"--tank={self.tank}"] if self.tank else []
        options += [f"--sheet={self.mix}"] if self.mix else []
        options += [f"--note={key}={text}" for key, text in self.notes.items()]
        return [*options, f"--port={self.port}"]


def request_from(asked: Mapping[str, Any]) -> RunRequest:
    """The request in a message. Raises BadInputError when it is none."""
    texts = {name: asked.get(name, "") for name in _TEXTS}
    notes = asked.get("notes", {})
    if not isinstance(notes, dict) or not all(isinstance(one, str) for one in (*texts.values(), *notes.values())):
        raise BadInputError("a run is asked for with texts alone")
    if not texts["port"] or not texts["rig"]:
        raise BadInputError("a run needs a port and a rig")
    return RunRequest(**texts, notes={str(key).replace("=", " "): text for key, text in notes.items()})


def ask_supervisor(path: Path, request: dict[str, Any]) -> dict[str, Any]:
    """Put a request to the supervisor that listens at `path`. Raises UserError."""
    who = "Swardflow's main program"
    return ask_at(path, request, who, f"{who} does not answer: start Swardflow again at the sprayer")
