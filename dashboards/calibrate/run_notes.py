"""Tells the run that is being recorded that its board is being calibrated, so that a catch is not taken for a fault."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any

from dashboards.web.visitor import visitor_name
from host.errors import UserError
from host.events import CALIBRATION, CALIBRATION_END
from host.recorder import ask

Asker = Callable[[Path, dict[str, Any]], dict[str, Any]]


class RunNotes:
    """Puts events into a run through its recorder, in their order, and waits for none: the calibration goes on all the
    same where no recorder answers."""

    def __init__(self, ask_recorder: Asker = ask) -> None:
        self._ask = ask_recorder
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="calibration notes")
        self._open: set[str] = set()  # kinds of which the run knows that they are under way

    def step(self, run: Path, kind: str) -> None:
        """A step of a calibration of this kind was taken."""
        self._open.add(kind)
        self._put(run, CALIBRATION, kind)

    def done(self, run: Path | None, kind: str) -> None:
        """Its card is saved, or it was dropped."""
        if run is not None and kind in self._open:
            self._open.discard(kind)
            self._put(run, CALIBRATION_END, kind)

    def close(self) -> None:
        """Take no more."""
        self._thread.shutdown(wait=False, cancel_futures=True)

    def _put(self, run: Path, event: str, kind: str) -> None:
        by = {"by": name} if (name := visitor_name()) else {}
        self._thread.submit(self._send, run, {"ask": "event", "kind": event, "text": kind} | by)

    def _send(self, run: Path, request: dict[str, Any]) -> None:
        with suppress(UserError):
            self._ask(run, request)
