"""Another screen's worst pause while somebody attacks the pages, and what it costs the server's memory.

The screen runs in this process, each attack in one of its own, the server in a third. The quiet figure is measured in
the same way before, on the same machine, and the pauses are held against it.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
from websockets.exceptions import WebSocketException
from websockets.sync.client import connect

from tests.dashboards.processes import ROOT, wait_until
from tests.dashboards.shared import SharedServer, ask
from tests.dashboards.writing import GrowingRun
from tests.soak.page_attacks import ATTACKS

pytestmark = [pytest.mark.soak, pytest.mark.timeout(900)]

SECONDS = 12.0
MORE_S = 0.5  # a pause may be so much longer than the quiet one
MOST_BYTES = 500e6  # of the page's process, under any attack
GETS_IN_S = 15.0
RECORDING = ROOT / "recordings" / "2026-05-14T0915-harrow-lea-pleasure-grounds.sward"


class Watcher(threading.Thread):
    """A screen that takes every message; `pause` is the longest time between two with newer numbers."""

    def __init__(self, at: str, cookie: str) -> None:
        super().__init__(daemon=True)
        self.at, self.cookie = at, cookie
        self.pause, self.old_ms, self.messages, self.lost = 0.0, 0, 0, 0
        self.words: set[str] = set()
        self.over = threading.Event()

    def __enter__(self) -> Watcher:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.over.set()
        self.join(20)

    def run(self) -> None:
        last, frame = time.monotonic(), -1
        while not self.over.is_set():
            try:
                address, own = f"ws://{self.at}/live/stream", {"Cookie": self.cookie}
                with connect(address, origin=f"http://{self.at}", additional_headers=own) as stream:  # type: ignore[arg-type]
                    while not self.over.is_set():
                        message = json.loads(stream.recv(10))
                        stream.send("k")
                        now = time.monotonic()
                        if message["row"].get("frame", -1) > frame:
                            self.pause = max(self.pause, now - last) if frame >= 0 else 0.0
                            last, frame = now, message["row"]["frame"]
                        self.messages += 1
                        self.old_ms = max(self.old_ms, message["age_ms"] or 0)
                        self.words.add(message["row"].get("link_words", ""))
            except (OSError, WebSocketException):
                self.lost += 1
                self.over.wait(0.2)


class Attacked:
    def __init__(self, folder: Path) -> None:
        runs = folder / "runs"
        runs.mkdir()
        shutil.copy(RECORDING, runs)
        self.run = GrowingRun(runs / "2026-11-14T0915-bowling-green.sward")
        self.server = SharedServer(runs, folder / "log")
        self.process = psutil.Process(self.server.child.pid)
        self.screen, self.attacker = (self.server.let_in(self.server.here) for _ in range(2))

    def watch(self, attack: str = "") -> tuple[Watcher, float, str]:
        """A screen beside an attack; the most memory that the server had, and how often the attack struck."""
        at = self.server.here
        command = [sys.executable, "-m", "tests.soak.page_attacks", attack, str(self.server.port)]
        command += [self.attacker.partition("=")[2], str(SECONDS)]
        most = 0.0
        with Watcher(at, self.screen) as watcher:
            wait_until(lambda: watcher.messages > 20, "numbers", 30.0)
            watcher.pause, watcher.old_ms = 0.0, 0
            child = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) if attack else None
            until = time.monotonic() + SECONDS
            while time.monotonic() < until or (child and child.poll() is None):
                most = max(most, self.process.memory_info().rss)
                time.sleep(0.1)
            struck = child.communicate()[0].strip() if child else ""
        return watcher, most, struck


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Attacked]:
    made = Attacked(tmp_path_factory.mktemp("attacked"))
    yield made
    made.server.end()
    made.run.end()


@pytest.fixture(scope="module")
def quiet(attacked: Attacked) -> float:
    """The worst pause without an attack."""
    watcher, most, _ = attacked.watch()
    print(f"\nquiet: worst pause {watcher.pause:.2f} s, numbers {watcher.old_ms} ms old, {most / 1e6:.0f} MB")
    return watcher.pause


@pytest.mark.parametrize("attack", ATTACKS)
def test_another_screen_hardly_notices(attacked: Attacked, quiet: float, attack: str) -> None:
    watcher, most, struck = attacked.watch(attack)
    print(
        f"\n{attack} ×{struck}: worst pause {watcher.pause:.2f} s (quiet {quiet:.2f}), numbers at most "
        f"{watcher.old_ms} ms old, screen lost {watcher.lost} times, {most / 1e6:.0f} MB"
    )
    assert watcher.lost == 0
    assert watcher.pause <= quiet + MORE_S
    assert most < MOST_BYTES
    assert "Traceback" not in attacked.server.output()


def test_a_new_phone_gets_in_among_idle_connections(attacked: Attacked) -> None:
    """And the next link is shown; before, no code was ever shown again."""
    command = [sys.executable, "-m", "tests.soak.page_attacks", "idle_connections", str(attacked.server.port)]
    child = subprocess.Popen([*command, "none", "25"], cwd=ROOT, stdout=subprocess.DEVNULL)
    try:
        time.sleep(5.0)
        took = [_let_in_after(attacked.server) for _ in range(3)]
    finally:
        child.wait(60)
    print(f"\nlet in among 1,200 idle connections after {', '.join(f'{one:.2f}' for one in took)} s")
    assert max(took) < GETS_IN_S


def _let_in_after(server: SharedServer) -> float:
    """How long a new phone takes to get in by the link that is shown, and to the live page."""
    key, began = server.key(server.there), time.monotonic()
    while True:
        try:
            answer = ask(server.there, f"/?key={key}")
            break
        except OSError:
            assert time.monotonic() - began < GETS_IN_S, "kept out"
    assert answer.status == 303
    page = ask(server.there, "/live", headers={"Cookie": answer.cookie})
    assert b'id="live"' in page.body
    took = time.monotonic() - began
    wait_until(lambda: server.key(server.there) != key, "the next link", 20.0)
    return took


def test_afterwards_everything_is_as_before(attacked: Attacked, quiet: float) -> None:
    watcher, most, _ = attacked.watch()
    files = attacked.process.num_fds()
    lines = [line for line in attacked.server.output().splitlines() if line.startswith("Page server")]
    print(
        f"\nafterwards: worst pause {watcher.pause:.2f} s, {most / 1e6:.0f} MB, {files} files, {len(lines)} lines said"
    )
    assert watcher.pause <= quiet + MORE_S
    assert files < 100
    assert len(lines) < 40
