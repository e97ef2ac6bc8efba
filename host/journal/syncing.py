"""Brings a file to the medium now and then, in a thread of its own, so that a slow disk holds nobody up."""

from __future__ import annotations

import threading
from collections.abc import Callable


class Syncer:
    """Calls `sync` at most every `interval_s` seconds while there is something to bring to the medium.

    `trouble` is the system's words for why the last attempt failed, empty if it did not.
    """

    def __init__(self, sync: Callable[[], None], interval_s: float) -> None:
        self.trouble = ""
        self._sync = sync
        self._interval_s = interval_s
        self._wanted = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="swardflow sync", daemon=True)
        self._thread.start()

    def wanted(self) -> None:
        """Say that there is something new to bring."""
        self._wanted.set()

    def stop(self) -> None:
        """Bring what is left and end the thread."""
        self._stopping.set()
        self._wanted.set()
        self._thread.join()

    def _run(self) -> None:
        while True:
            self._wanted.wait()
            self._wanted.clear()
            try:
                self._sync()
                self.trouble = ""
            except OSError as error:
                self.trouble = error.strerror or str(error)
            if self._stopping.wait(self._interval_s) and not self._wanted.is_set():
                return
