"""The server over real sockets: the stream, polling, the buttons' address, what is refused."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from dashboards.__main__ import main
from tests.dashboards.processes import PATIENCE_S, Server, wait_until
from tests.dashboards.sessions import cookie_header
from tests.dashboards.writing import GrowingRun


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server of a run that grows."""
    folder = tmp_path_factory.mktemp("runs")
    run = GrowingRun(folder / "2026-05-14T0915-bowling-green.sward")
    server = Server(folder, tmp_path_factory.mktemp("log") / "log")
    wait_until(lambda: server.row().get("frame", -1) > 0, "numbers")
    yield server
    server.end()
    run.end()


@pytest.fixture(scope="module")
def idle(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server of an empty folder, started from nothing as a person starts it."""
    server = Server(tmp_path_factory.mktemp("runs"), tmp_path_factory.mktemp("log") / "log", cold=True)
    yield server
    server.end()


def request(server: Server, path: str, body: bytes | None = None, **headers: str) -> tuple[int, bytes, Any]:
    asked = urllib.request.Request(
        server.address + path, data=body, headers={name.replace("_", "-"): value for name, value in headers.items()}
    )
    try:
        with urllib.request.urlopen(asked, timeout=PATIENCE_S) as answer:
            return answer.status, answer.read(), answer.headers
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read(), error.headers


def stream(server: Server, **options: Any) -> Any:
    headers = cookie_header() | (options.pop("additional_headers", None) or {})
    return connect(server.address.replace("http", "ws") + "/live/stream", additional_headers=headers, **options)


def test_the_first_message_has_the_last_minute_the_others_only_the_row(server: Server) -> None:
    with stream(server) as socket:
        first = json.loads(socket.recv(PATIENCE_S))
        assert len(first["trace"]) > 10
        for _ in range(10):  # a message for more than MISSED reports at once, on a busy machine, has it again
            known = server.row()["frame"]
            socket.send("k")
            second = json.loads(socket.recv(PATIENCE_S))
            if "trace" not in second:
                break
        assert "trace" not in second
        assert second["boot"] == first["boot"]
        assert second["seq"] > first["seq"]
        assert second["row"]["frame"] > first["row"]["frame"]
        later = json.loads(socket.recv(PATIENCE_S)) if second["row"]["frame"] < known else second  # one was under way
        assert later["row"]["frame"] >= known, "as new as what another screen is shown"


def test_polling_gives_the_same(server: Server) -> None:
    message = server.newest()
    assert message["row"]["words"] == "On target"
    assert len(message["trace"]) > 10


def test_a_screen_that_takes_nothing_gets_no_old_numbers_later(server: Server) -> None:
    """Only a few messages are under way at once, so a phone that was out of reach does not replay what it missed."""
    with stream(server) as socket:
        before = server.row()["frame"]
        wait_until(lambda: server.row()["frame"] >= before + 20, "20 rows are written meanwhile")
        held = [json.loads(socket.recv(PATIENCE_S)) for _ in range(3)]
        with pytest.raises(TimeoutError):
            socket.recv(0.5)
        known = server.row()["frame"]
        socket.send("k")
        fresh = json.loads(socket.recv(PATIENCE_S))
        assert fresh["row"]["frame"] - held[-1]["row"]["frame"] > 15
        assert len(fresh["trace"]) > 10, "and the trace again, whole"
        assert fresh["row"]["frame"] >= known, "as new as what another screen is shown"


def test_without_news_the_newest_is_repeated_every_second(idle: Server) -> None:
    with stream(idle) as socket:
        seen = []
        for _ in range(3):
            seen.append(json.loads(socket.recv(10))["seq"])
            socket.send("k")
    assert seen[-1] == seen[-2]


@pytest.mark.parametrize(
    "headers",
    [{"Host": "rebound.example"}, {"Origin": "http://elsewhere.example"}, {"Origin": "http://localhost:1"}],
)
def test_strangers_are_refused(server: Server, headers: dict[str, str]) -> None:
    assert request(server, "/", **headers)[0] == 403
    assert request(server, "/live/newest", **headers)[0] == 403
    assert request(server, "/live/tell/stop", b"{}", content_type="application/json", **headers)[0] == 403
    origin = headers.get("Origin")
    host = headers.get("Host")
    with pytest.raises((InvalidStatus, ConnectionClosed)):  # noqa: SIM117
        with stream(server, origin=origin, additional_headers={"Host": host} if host else None) as socket:
            socket.recv(1)


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        (b"{}", "text/plain", 415),
        (b"{}", "application/x-www-form-urlencoded", 415),
        (b"nonsense", "application/json", 400),
        (b"[]", "application/json", 400),
        (b"[" * 1900, "application/json", 400),
        (b'{"x": "' + b"x" * 5000 + b'"}', "application/json", 400),
        (b"{}", "application/json", 409),  # no run, no recorder: a sentence
    ],
)
def test_wrong_requests_of_buttons(idle: Server, body: bytes, kind: str, status: int) -> None:
    code, answer, _ = request(idle, "/live/tell/mark", body, content_type=kind)
    assert code == status
    said = json.loads(answer)
    assert said["ok"] is False
    assert said["sentence"]


def test_pages_and_addresses(server: Server) -> None:
    status, body, headers = request(server, "/live")
    assert status == 200
    assert b'id="live"' in body
    assert "default-src 'self'" in headers["content-security-policy"]
    for nowhere in ("/nowhere", "/docs", "/openapi.json", "/assets/../app.py", "/assets/%2e%2e/app.py", "/.git/config"):
        assert request(server, nowhere)[0] == 404, nowhere


def test_nothing_in_the_pages_names_another_machine(server: Server) -> None:
    _, body, _ = request(server, "/live")
    text = body.decode()
    for address in ("http://", "https://", "//cdn", "wss://"):
        assert address not in text.replace("http://www.w3.org", ""), address


def test_many_screens_come_and_go(server: Server) -> None:
    for _ in range(30):
        with suppress(TimeoutError), stream(server) as socket:
            socket.recv(1)
    before = server.row()["frame"]
    wait_until(lambda: server.row()["frame"] > before + 5, "the numbers go on")
    assert server.child.poll() is None


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--runs", "/nowhere/at/all"], "there is no such folder"),
        (["--runs", ".", "--host", "0.0.0.0"], "for this computer only"),
        (["--runs", ".", "--host", "field.example"], "for this computer only"),
        (["--runs", ".", "--http-port", "70000"], "from 1 to 65535"),
        (["--runs", ".", "--http-port", "0", "--follow", "nothing-like-this"], "there is no run nothing-like-this"),
    ],
)
def test_mistakes_on_the_command_line(arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    said = capsys.readouterr().err
    assert says in said
    assert said.count("\n") == 1


def test_a_port_that_is_taken(idle: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--runs", str(tmp_path), "--http-port", str(idle.port)]) == 2
    assert "another program" in capsys.readouterr().err
