"""Keeps the pages, a recorder and perhaps an emulated board running side by side, each in its own process.

Recording never waits for looking: a page that falls over is started again while the recorder goes on; a recorder that
is killed is started again with a new run file. Each child is in a session of its own, so that Ctrl-C reaches it only
from here and the recorder can drain before anything else stops. The pages ask for a recorder over a channel of their
own (host/recorder/supervision.py).
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
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
    """The children of one `open`, `watch` or `demo`. `first` is a run to start at once; `channels` are where the pages,
    and others who want their port, can ask.
    """

    recorder: RecorderKeeper
    page: Child
    first: RunRequest | None = None
    channels: Sequence[Path] = ()
    say: Callable[[str], None] = print
    sleep: Callable[[float], None] = time.sleep
    _given_up: threading.Event = field(default_factory=threading.Event, repr=False)

    def run(self) -> int:
        """Run until stopped: from the keyboard, by SIGTERM, by a closed terminal; the exit code for the command."""
        for name in ("SIGTERM", "SIGHUP", "SIGQUIT"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), _interrupt)
        with ExitStack() as stack:
            for channel in self.channels:
                stack.enter_context(closing(ControlServer(channel, self.answer)))
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
        if self._given_up.is_set():
            self.say("Another Swardflow takes over: this one ends.")
            return 0
        code = self.recorder.look()
        if code is None and self.page.ended() is not None and not self.page.again():
            self.say("The page does not start (its message stands above); the recording goes on without it.")
        return code

    def stop(self) -> None:
        """End everything: the recorder first, so that what is queued is written."""
        self.recorder.stop()
        self.page.stop()

    def answer(self, request: dict[str, Any]) -> dict[str, Any]:
        """Reply to a request of the pages, or of who wants their port; in a thread of the channel."""
        match request.get("ask"):
            case "start":
                return {"number": self.recorder.want(request_from(request))}
            case "status":
                return self.recorder.status() | {"pid": os.getpid()}
            case "stop":
                self._given_up.set()
                return {"done": True}
        raise BadInputError("the supervisor knows no such request")


def _interrupt(_signal: int, _frame: object) -> None:
    raise KeyboardInterrupt
