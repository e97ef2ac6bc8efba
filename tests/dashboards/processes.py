"""The page's server and a recorder as processes of their own, as they are in use."""

from __future__ import annotations

import fcntl
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Self

from tests.dashboards.preloaded import PRELOADER, Child
from tests.dashboards.sessions import let_in
from tests.dashboards.walking import RIG

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0  # for what only has to come about, however busy the computer is
# Below those that a system hands out by itself (Linux: 32768 and up), so that no connection is given one of them.
PORTS = range(20_000, 28_000)
_claimed: set[int] = set()


def wait_until(reached: Callable[[], Any], what: str | Callable[[], str], timeout_s: float = PATIENCE_S) -> Any:
    """What `reached` returns once it is true. Where how long it takes is asked of the program, `timeout_s` says it."""
    deadline = time.monotonic() + timeout_s
    while not (result := reached()):
        assert time.monotonic() < deadline, f"not within {timeout_s} s: {what() if callable(what) else what}"
        time.sleep(0.05)
    return result


def free_port() -> int:
    """A port that no other test of this computer is given while this process lives, whenever it is listened at."""
    for port in random.sample(PORTS, len(PORTS)):
        if port in _claimed:
            continue
        try:
            fcntl.lockf(_claims(), fcntl.LOCK_EX | fcntl.LOCK_NB, 1, port)
            with socket.socket() as probe:
                probe.bind(("", port))
        except OSError:
            continue
        _claimed.add(port)
        return port
    raise AssertionError("no port is free")


@cache
def _claims() -> int:
    """A file of which each process locks the byte of each port that it was given; closing it would let go of all."""
    name = f"swardflow-test-ports-{os.getuid()}"
    return os.open(Path(tempfile.gettempdir()) / name, os.O_RDWR | os.O_CREAT, 0o600)


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

    def wait_ready(self, reached: Callable[[], Any], what: str, timeout_s: float = PATIENCE_S) -> Any:
        """As `wait_until`; a child that does not come up is not left behind."""
        try:
            return wait_until(reached, what, timeout_s)
        except BaseException as error:
            self.end(signal.SIGKILL)
            error.add_note(f"it said: {self.output()}")
            raise

    def end(self, how: signal.Signals = signal.SIGTERM, timeout_s: float = PATIENCE_S) -> int:
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
        self.wait_ready(self._answers, "the server answers")

    def newest(self) -> dict[str, Any]:
        with urllib.request.urlopen(f"{self.address}/live/newest", timeout=PATIENCE_S) as answer:
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
        self.run: Path = self.wait_ready(lambda: self._run(runs), "a run file")

    def _run(self, runs: Path) -> Path | None:
        assert self.child.poll() is None, self.output()
        return next(iter(sorted(runs.glob("*.sward"))), None)
