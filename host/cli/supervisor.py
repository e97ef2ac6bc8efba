"""Keeps the pages, a recorder and perhaps an emulated board running side by side, each in its own process.

Recording never waits for looking: a page that falls over is started again while the recorder goes on; a recorder that
is killed is started again with a new run file. Each child is in a session of its own, so that Ctrl-C reaches it only
from here and the recorder can drain before anything else stops. The pages ask for a recorder over a channel of their
own (host/recorder/supervision.py).
"""

from __future__ import annotations

import signal
import time
from collections.abc import Callable
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host.cli.child import Child
from host.cli.recorder_keeper import RecorderKeeper
from host.errors import BadInputError
from host.recorder.control import ControlServer
from host.recorder.supervision import RunRequest, request_from

LOOK_S = 0.1


@dataclass
class Together:
    """The children of one `open`, `watch` or `demo`. `first` is a run to start at once; `channel` a socket's path."""

    recorder: RecorderKeeper
    page: Child
    first: RunRequest | None = None
    channel: Path | None = None
    say: Callable[[str], None] = print
    sleep: Callable[[float], None] = time.sleep

    def run(self) -> int:
        """Run until stopped: from the keyboard, by SIGTERM, by a closed terminal; the exit code for the command."""
        for name in ("SIGTERM", "SIGHUP", "SIGQUIT"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), _interrupt)
        with ExitStack() as stack:
            if self.channel:
                stack.enter_context(closing(ControlServer(self.channel, self.answer)))
            try:
                self.begin()
                while (code := self.look()) is None:
                    self.sleep(LOOK_S)
                return code
            except KeyboardInterrupt:
                return 0
            finally:
                self.stop()

    def begin(self) -> None:
        """Start what is to run from the beginning."""
        if self.first:
            self.recorder.want(self.first)
        self.page.begin()

    def look(self) -> int | None:
        """One look at the children: put right what has stopped; an exit code when it is all over."""
        code = self.recorder.look()
        if code is None and self.page.ended() is not None and not self.page.again():
            self.say("The page does not start (its message stands above); the recording goes on without it.")
        return code

    def stop(self) -> None:
        """End everything: the recorder first, so that what is queued is written."""
        self.recorder.stop()
        self.page.stop()

    def answer(self, request: dict[str, Any]) -> dict[str, Any]:
        """Reply to a request of the pages; in a thread of the channel."""
        match request.get("ask"):
            case "start":
                return {"number": self.recorder.want(request_from(request))}
            case "status":
                return self.recorder.status()
        raise BadInputError("the supervisor knows no such request")


def _interrupt(_signal: int, _frame: object) -> None:
    raise KeyboardInterrupt
