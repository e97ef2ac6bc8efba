"""A process that has imported what servers and recorders need, and forks for each: that is sooner ready than a start.

What is forked runs the module as `python -m` does, in a session of its own, from its first line to its exit code.
"""

from __future__ import annotations

import gc
import json
import os
import runpy
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
# All but the modules that are run themselves.
IMPORTED = ("dashboards.app", "uvicorn", "websockets", "host.recorder", "host.rig", "host.calibrate.cards", "pint")
_LOOK_S = 0.005


class Child:
    """A forked process, with what tests use of subprocess.Popen."""

    def __init__(self, preloader: Preloader, pid: int) -> None:
        self.pid, self.returncode = pid, None
        self._preloader = preloader

    returncode: int | None

    def poll(self) -> int | None:
        """The exit code, or the signal's number below zero; None while it runs."""
        if self.returncode is None:
            self.returncode = self._preloader.ask({"poll": self.pid})
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Wait for its end."""
        deadline = None if timeout is None else time.monotonic() + timeout
        while (code := self.poll()) is None:
            if deadline is not None and time.monotonic() > deadline:
                raise subprocess.TimeoutExpired(f"forked process {self.pid}", timeout or 0.0)
            time.sleep(_LOOK_S)
        return code

    def send_signal(self, how: int) -> None:
        """Send it a signal, if it has not ended."""
        if self.poll() is None:
            os.kill(self.pid, how)

    def kill(self) -> None:
        """End it at once."""
        self.send_signal(signal.SIGKILL)


class Preloader:
    """Starts the process that forks, with the first child that is asked for; one for all tests of this process."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None

    def start(self, arguments: list[str], log: Path, environment: dict[str, str]) -> Child:
        """`python -W error` with these arguments, "-m" and the module's name first; its output goes to `log`."""
        assert arguments[0] == "-m"
        asked = {"fork": arguments[1:], "log": str(log), "environment": environment}
        return Child(self, self.ask(asked))

    def ask(self, request: dict[str, Any]) -> Any:
        """One request to the process, and its answer."""
        with self._lock:
            if self._process is None:
                self._begin()
            self._requests.sendall(json.dumps(request).encode() + b"\n")
            return json.loads(self._answers.readline())

    def _begin(self) -> None:
        self._requests, theirs = socket.socketpair()
        self._answers = self._requests.makefile("rb")
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, "-W", "error", "-m", "tests.dashboards.preloaded", str(theirs.fileno())],
                pass_fds=[theirs.fileno()],
                cwd=ROOT,
                env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1", "OPENBLAS_NUM_THREADS": "1"},
                start_new_session=True,
            )


PRELOADER = Preloader()


def wait_to_be_forked(requests: socket.socket) -> list[str]:
    """Answer until the other side has gone, then end what is left; returns, in a forked process only, what to run."""
    running = set()
    with requests, requests.makefile("rb") as lines:
        for line in lines:
            asked = json.loads(line)
            if "poll" in asked:
                pid, status = os.waitpid(asked["poll"], os.WNOHANG)
                answer = os.waitstatus_to_exitcode(status) if pid else None
                running.discard(pid)
            else:
                answer = os.fork()
                if answer == 0:
                    _become(asked)
                    return list(asked["fork"])
                running.add(answer)
            with suppress(BrokenPipeError):
                requests.sendall(json.dumps(answer).encode() + b"\n")
    for pid in running:  # the tests were interrupted; none was waited for, so that the numbers are still theirs
        os.kill(pid, signal.SIGKILL)
    sys.exit(0)


def _become(asked: dict[str, Any]) -> None:
    os.setsid()
    log = os.open(asked["log"], os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
    for stream in (1, 2):
        os.dup2(log, stream)
    os.close(log)
    os.environ.clear()
    os.environ.update(asked["environment"])


def main() -> None:
    """Import, wait, and in each fork run the module that was asked for."""
    for name in IMPORTED:
        import_module(name)
    gc.freeze()
    sys.argv = wait_to_be_forked(socket.socket(fileno=int(sys.argv[1])))
    runpy.run_module(sys.argv[0], run_name="__main__", alter_sys=True)


if __name__ == "__main__":
    main()
