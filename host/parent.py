"""A process that was started by another one of ours ends in good order when that one is gone, however it went.

The parent holds the other end of the child's standard input. Whatever ends the parent, even a kill, closes it.
"""

from __future__ import annotations

import _thread
import os
import signal
import sys
import threading

VARIABLE = "SWARDFLOW_PARENT"  # set by the parent: the standard input is its pipe


def end_with_parent() -> None:
    """From now on, the end of the parent counts as SIGTERM here. Does nothing in a process started by hand."""
    if os.environ.pop(VARIABLE, ""):
        threading.Thread(target=_wait, args=(sys.stdin.fileno(),), name="swardflow parent", daemon=True).start()


def _wait(descriptor: int) -> None:
    while os.read(descriptor, 1024):
        pass
    if os.name == "posix":
        os.kill(os.getpid(), signal.SIGTERM)  # wakes the main thread wherever it waits
    else:
        _thread.interrupt_main(signal.SIGTERM)
