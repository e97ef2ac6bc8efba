"""Servers, growing runs and browsers for the tests of the pages."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from tests.dashboards.processes import PATIENCE_S, RecorderProcess, Server, Standing
from tests.dashboards.sessions import LetIn
from tests.dashboards.told import KEEP_TOLD
from tests.dashboards.walking import BoardOnPty
from tests.dashboards.writing import GrowingRun

CHROMIUM_FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
]

# What a browser says when a server is gone or refuses: tests end servers, and ask for what is refused.
NOT_REACHED = (
    *("Failed to load resource", "WebSocket connection to"),
    "Error: Callback failed: the server did not respond.",
    "An unknown error occurred when fetching the script.",  # the worker that keeps the pages
)


@pytest.fixture
def runs(tmp_path: Path) -> Path:
    """An empty folder for run files."""
    folder = tmp_path / "runs"
    folder.mkdir()
    return folder


@pytest.fixture
def serve(runs: Path, tmp_path: Path) -> Iterator[Callable[..., Server]]:
    """Starts servers on the folder of runs and ends them after the test."""
    servers: list[Server] = []

    def start(*arguments: str, port: int | None = None) -> Server:
        servers.append(Server(runs, tmp_path / "server.log", *arguments, port=port))
        return servers[-1]

    yield start
    for server in servers:
        server.end()


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Standing]:
    """For pages that change nothing in the folder."""
    runs = tmp_path_factory.mktemp("standing") / "runs"
    runs.mkdir()
    with Server(runs, runs.parent / "server.log") as server:
        yield Standing(server, runs)


@pytest.fixture
def board() -> Iterator[BoardOnPty]:
    """A board that reports ten times a second on a pseudo-terminal."""
    board = BoardOnPty()
    yield board
    board.close()


@pytest.fixture
def recorder(board: BoardOnPty, runs: Path, tmp_path: Path) -> Iterator[RecorderProcess]:
    """A recorder of the board, ended in good order if the test has not ended it; one that was stopped goes on first."""
    recorder = RecorderProcess(board.port, runs, tmp_path / "recorder.log")
    yield recorder
    if recorder.child.poll() is None:
        recorder.child.send_signal(signal.SIGCONT)
    recorder.end(signal.SIGINT)


@pytest.fixture
def growing(runs: Path) -> Iterator[GrowingRun]:
    """A run that grows ten times a second."""
    run = GrowingRun(runs / "2026-05-14T0915-bowling-green.sward")
    yield run
    run.end()


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Any]:
    """Chromium without a screen. Not for the whole session: while it runs, no other test can run an event loop."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS)
        yield LetIn(started)
        started.close()


@pytest.fixture
def phone(browser: Any) -> Iterator[Callable[..., Any]]:
    """Opens pages of a phone's size, the live page where no other is named; what they ask for is in `page.asked`.

    What goes wrong in a page's scripts stands in `page.wrong` and fails the test.
    """
    opened: list[Any] = []
    with ExitStack() as stack:

        def open_page(address: str, width: int = 360, height: int = 740, light: str = "light") -> Any:
            context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=light)
            stack.callback(context.close)
            context.set_default_timeout(1_000 * PATIENCE_S)
            context.add_init_script(KEEP_TOLD)
            page = context.new_page()
            page.asked, page.wrong = [], []
            opened.append(page)
            page.on("request", lambda request: page.asked.append(request.url))
            page.on("websocket", lambda socket: page.asked.append(socket.url))
            page.on("pageerror", lambda error: page.wrong.append(str(error)))
            page.on("console", lambda said: page.wrong.append(said.text) if said.type == "error" else None)
            page.goto(address if urlsplit(address).path else f"{address}/live")
            return page

        yield open_page
    assert [one for page in opened for one in page.wrong if not one.startswith(NOT_REACHED)] == []
