"""The process that started the pages, as the pages see it: it starts recorders and says how they are doing."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host.errors import NotNowError, UserError
from host.recorder.supervision import BUSY, FAILED, RECORDING, RunRequest, ask_supervisor

START_S = 15.0  # a recorder waits five seconds for a board; a slow computer takes some to start it
_LOOK_S = 0.1
_NONE = "These pages only show runs: they were opened without recording."
_TOO_SLOW = "The recording has not started within 15 seconds: look at the computer at the sprayer."


@dataclass(frozen=True)
class Supervision:
    """How the recorder is: `state` as in host.recorder.supervision, `notice` a sentence when it had to be helped."""

    state: str = ""
    run: str | None = None
    error: str = ""
    notice: str = ""
    number: int = 0


class Supervisor:
    """Asks the supervisor at `path`; without one, nothing can be started.

    `ask` puts a request and raises UserError without answer.
    """

    def __init__(
        self,
        path: Path | None = None,
        ask: Callable[[Path, dict[str, Any]], dict[str, Any]] = ask_supervisor,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._path, self._ask, self._clock, self._sleep = path, ask, clock, sleep
        self._lock = threading.Lock()
        self._known = Supervision()

    @property
    def there(self) -> bool:
        """Whether runs can be started."""
        return self._path is not None

    def known(self) -> Supervision:
        """What was heard last; never waits."""
        with self._lock:
            return self._known

    def look(self) -> Supervision:
        """Ask how the recorder is; what was heard last when there is no answer."""
        if self._path is None:
            return self._known
        try:
            heard = self._ask(self._path, {"ask": "status"})
        except UserError:
            return self.known()
        known = Supervision(
            str(heard.get("state", "")),
            heard.get("run"),
            str(heard.get("reason", "")),
            str(heard.get("notice", "")),
            int(heard.get("number", 0)),
        )
        with self._lock:
            self._known = known
        return known

    def start(self, request: RunRequest) -> str:
        """Have a run started and wait until it is being recorded; its path.

        Raises UserError with the reason when it does not start.
        """
        if self._path is None:
            raise NotNowError(_NONE)
        number = self._ask(self._path, request.to_json()).get("number")
        until = self._clock() + START_S
        while self._clock() < until:
            now = self.look()
            if now.number == number and now.state == RECORDING and now.run:
                return now.run
            if now.number == number and now.state == FAILED:
                raise NotNowError(now.error or now.notice)
            if now.number == number and now.state not in BUSY and now.state:
                return now.run or ""  # ended already
            self._sleep(_LOOK_S)
        raise NotNowError(_TOO_SLOW)
