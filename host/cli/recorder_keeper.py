"""The recorder of the moment: started on request, started again when it was killed, and told about.

Requests come from threads of the channel; everything that touches a process happens in `look`, in the main thread.
"""

from __future__ import annotations

import json
import signal
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from host.cli.child import Child
from host.cli.record import NOT_IN_PLACE
from host.errors import NotNowError
from host.recorder.supervision import BUSY, ENDED, FAILED, IDLE, RECORDING, STARTING, RunRequest

DRAIN_S = 20.0  # how long a recorder may take to bring its backlog to the disk
MISTAKE = 2
_AGAIN = "The recorder stopped unexpectedly and was started again: the run goes on in a new run file."
_GIVEN_UP = "The recorder keeps stopping: nothing is being recorded. Restart the computer at the sprayer."
_NO_REASON = "the recording did not start, and the reason is not known: try again"


@dataclass
class EmulatedBoard:
    """A board that is emulated at `port`: started anew for each run. `ready` says whether it can be opened."""

    child: Child
    port: str
    ready: Callable[[], bool]


@dataclass
class RecorderKeeper:
    """Keeps at most one recorder. `make` gives the child for the arguments of `record`, `report` is the file in which
    the recorder says what became of it, and `exits` says whether a mistake in the first run ends everything.
    """

    make: Callable[[Sequence[str]], Child]
    report: Path
    board: EmulatedBoard | None = None
    say: Callable[[str], None] = print
    exits: bool = False
    state: str = IDLE
    _child: Child | None = None
    _wanted: RunRequest | None = None
    _uses_board: bool = False
    _run: str | None = None
    _error: str = ""
    _notice: str = ""
    _number: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def want(self, request: RunRequest) -> int:
        """Have a run started; its number. From any thread. Raises NotNowError while one is being recorded."""
        with self._lock:
            if self.state in BUSY:
                raise NotNowError("a run is being recorded already: end it on the page Live first")
            self.state, self._wanted = STARTING, request
            self._run, self._error, self._notice = None, "", ""
            self._number += 1
            return self._number

    def status(self) -> dict[str, Any]:
        """How things stand, for the pages; from any thread."""
        with self._lock:
            status = {"state": self.state, "run": self._run, "reason": self._error, "notice": self._notice}
            return status | {"number": self._number}

    def look(self) -> int | None:
        """Do what is wanted and put right what has stopped; an exit code when everything is to end."""
        with self._lock:
            wanted, self._wanted = self._wanted, None
        if wanted is not None:
            self._begin(wanted)
        board = self.board if self._uses_board else None
        if self._child is not None and self._child.process is None and self.state == STARTING:
            if board is None or board.ready():
                self._start_child(self._child)
            elif (code := board.child.ended()) is not None:
                self._end(FAILED, error="the emulated board does not start")
                return code if self.exits else None
        if self._child is None or self._child.process is None or self.state not in BUSY:
            return None
        if board and board.child.ended() is not None and self._child.ended() is None:
            self.say("The emulated run is over.")
            self._child.stop(signal.SIGINT, DRAIN_S)
        return self._look_at(self._child, board)

    def stop(self) -> None:
        """End the recorder, so that what is queued is written, and then the board."""
        if self._child:
            self._child.stop(signal.SIGINT, DRAIN_S)
        if self.board:
            self.board.child.stop()

    def _begin(self, request: RunRequest) -> None:
        self._uses_board = self.board is not None and request.port == self.board.port
        if self.board is not None and self._uses_board:
            self.board.child.stop()
            self.board.child.begin()
        self._child = self.make(request.arguments())

    def _start_child(self, child: Child) -> None:
        self.report.unlink(missing_ok=True)
        child.begin()

    def _look_at(self, child: Child, board: EmulatedBoard | None) -> int | None:
        said = self._said()
        if said.get("run") and self.state == STARTING:
            with self._lock:
                self.state, self._run = RECORDING, str(said["run"])
        code = child.ended()
        if code is None:
            return None
        started, self.exits = self.state == RECORDING, self.exits and self.state == STARTING
        if code == MISTAKE and not started:
            self._end(FAILED, error=str(said.get("error") or _NO_REASON))
            return code if self.exits else None
        if code in (0, NOT_IN_PLACE) or (board and board.child.ended() is not None):
            self._end(ENDED)
            self.say("Recording has ended. The pages stay open until you press Ctrl-C.")
            return None
        self.report.unlink(missing_ok=True)
        if child.again():
            with self._lock:
                self.state, self._notice = STARTING, _AGAIN
            self.say(_AGAIN)
            return None
        self._end(FAILED, notice=_GIVEN_UP)
        self.say(_GIVEN_UP)
        return 1 if self.exits else None

    def _end(self, state: str, *, error: str = "", notice: str = "") -> None:
        with self._lock:
            self.state, self._error, self._notice = state, error, notice or self._notice

    def _said(self) -> dict[str, Any]:
        with suppress(OSError, ValueError):
            said = json.loads(self.report.read_text(encoding="utf-8"))
            return said if isinstance(said, dict) else {}
        return {}
