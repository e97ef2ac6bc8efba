"""The page's server and a recorder as processes of their own, as they are in use."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from tests.dashboards.preloaded import PRELOADER, Child
from tests.dashboards.sessions import let_in
from tests.dashboards.walking import RIG

ROOT = Path(__file__).parents[2]


def wait_until(reached: Callable[[], Any], what: str, timeout_s: float = 10.0) -> Any:
    """What `reached` returns once it is true."""
    deadline = time.monotonic() + timeout_s
    while not (result := reached()):
        assert time.monotonic() < deadline, f"not within {timeout_s} s: {what}"
        time.sleep(0.02)
    return result


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Process:
    """A child in its own session; everything it printed is in `log`.

    It is forked from a process that has imported the packages (see preloaded.py); a `cold` one starts from nothing.
    """

    child: Child | subprocess.Popen[bytes]

    def __init__(self, arguments: list[str], log: Path, *, cold: bool = False) -> None:
        self.log = log
        environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
        log.touch()
        if not cold and "LD_PRELOAD" not in environment:  # that is for the loader, which a fork does not pass
            self.child = PRELOADER.start(arguments, log, environment)
            return
        with log.open("ab") as out:
            self.child = subprocess.Popen(
                [sys.executable, "-W", "error", *arguments],
                cwd=ROOT,
                env=environment,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.end()

    def wait_ready(self, reached: Callable[[], Any], what: str, timeout_s: float) -> Any:
        """As `wait_until`; a child that does not come up is not left behind."""
        try:
            return wait_until(reached, what, timeout_s)
        except BaseException as error:
            self.end(signal.SIGKILL)
            error.add_note(f"it said: {self.output()}")
            raise

    def end(self, how: signal.Signals = signal.SIGTERM, timeout_s: float = 15.0) -> int:
        """Send a signal and wait; the exit code."""
        if self.child.poll() is None:
            self.child.send_signal(how)
        return self.child.wait(timeout_s)

    def output(self) -> str:
        return self.log.read_text(encoding="utf-8", errors="replace")


class Server(Process):
    """`python -m dashboards` on a port of its own, with a session for this process (see sessions.py)."""

    def __init__(self, runs: Path, log: Path, *arguments: str, port: int | None = None, cold: bool = False) -> None:
        self.port = port or free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        sessions = log.parent / f"sessions-{self.port}.json"  # as `swardflow watch` keeps them when it starts it again
        command = ["-m", "dashboards", "--runs", str(runs), "--http-port", str(self.port), "--sessions", str(sessions)]
        super().__init__([*command, *arguments], log, cold=cold)
        self.wait_ready(self._answers, "the server answers", 40.0)

    def newest(self) -> dict[str, Any]:
        with urllib.request.urlopen(f"{self.address}/live/newest", timeout=5) as answer:
            message: dict[str, Any] = json.load(answer)
        return message

    def row(self) -> dict[str, Any]:
        row: dict[str, Any] = self.newest()["row"]
        return row

    def _answers(self) -> bool:
        assert self.child.poll() is None, self.output()
        try:
            return let_in(self.port, self.output()) and bool(self.row())
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            return False


@dataclass
class Standing:
    """A server that stays up for all tests of a file, and its folder of runs."""

    server: Server
    runs: Path

    def next_run(self) -> Path:
        """A name for a run that is newer than those that are there."""
        return self.runs / f"2026-05-14T09{len(list(self.runs.iterdir())):02}-bowling-green.sward"


class RecorderProcess(Process):
    """`swardflow record` on a port, into a folder."""

    def __init__(self, port: str, runs: Path, log: Path, rig: Path = RIG) -> None:
        command = ["-m", "host.cli.main", "record", "--port", port, "--rig", str(rig), "--runs", str(runs)]
        super().__init__(command, log)
        self.run: Path = self.wait_ready(lambda: self._run(runs), "a run file", 40.0)

    def _run(self, runs: Path) -> Path | None:
        assert self.child.poll() is None, self.output()
        return next(iter(sorted(runs.glob("*.sward"))), None)
