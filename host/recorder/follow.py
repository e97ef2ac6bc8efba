"""Follows a run from another process: the file, and what the recorder could not write yet."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Self

from host.errors import NoAnswerError
from host.journal import FileFollower
from host.journal.writer import RECORDING
from host.recorder.control import ask

LOOK_S = 0.25  # between questions to the recorder while the file grows no further
NOT_RUNNING = {"state": "not running"}


class RunFollower:
    """Follows one run. `ask_recorder` puts a request to its recorder and raises NoAnswerError when there is none."""

    def __init__(
        self,
        path: Path,
        ask_recorder: Callable[[Path, dict[str, Any]], dict[str, Any]] = ask,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.path = path
        self._ask = ask_recorder
        self._clock = clock
        self._look_at = clock() + LOOK_S
        self._file = FileFollower(path, self._future)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def poll(self) -> bytes:
        """New bytes of the run since the last time, empty when there are none.

        Raises UserError when the file cannot be read any more, or its recorder refuses to answer.
        """
        return self._file.poll()

    def status(self) -> dict[str, Any]:
        """The recorder's status (see Recorder.status), or {"state": "not running"}."""
        try:
            return self._ask(self.path, {"ask": "status"})
        except NoAnswerError:
            return dict(NOT_RUNNING)

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def _future(self, offset: int) -> bytes:
        """What waits in the recorder while its disk is full. A recorder that writes is only asked now and then."""
        if self._clock() < self._look_at:
            return b""
        if self.status().get("state") in (RECORDING, NOT_RUNNING["state"]):
            self._look_at = self._clock() + LOOK_S
            return b""
        try:
            reply = self._ask(self.path, {"ask": "tail", "from": offset})
        except NoAnswerError:
            return b""  # it has ended in this moment: the file holds all there will be
        return str(reply.get("data", "")).encode("ascii")


def follow(path: Path) -> RunFollower:
    """Follow the run at `path` from its first byte.

    Raises UserError when the file cannot be opened.
    """
    return RunFollower(path)
