"""Requests that no page sends: the server answers each without a traceback, lives on, and the recording has no gap."""

from __future__ import annotations

import json
import signal
import socket
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from dashboards.web.size_limits import MOST_BODY
from host.journal import read_run
from tests.dashboards.processes import PATIENCE_S, RecorderProcess, Server, wait_until
from tests.dashboards.sessions import cookie_header
from tests.dashboards.shared import Answer, ask
from tests.dashboards.walking import BoardOnPty

PATH = "/_dash-update-component"
JSON = {"Content-Type": "application/json"}
FAILED = b'{"error":"InternalServerError","message":"An internal server error occurred."}'
REASONABLE = {200, 204, 400, 404, 405, 413, 415, 422}
MANY = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


class Attacked:
    """Board, recorder and page, and what the page's callbacks are called."""

    def __init__(self, folder: Path) -> None:
        runs = folder / "runs"
        runs.mkdir()
        self.board = BoardOnPty()
        self.recorder = RecorderProcess(self.board.port, runs, folder / "recorder.log")
        self.server = Server(runs, folder / "server.log")
        self.at = f"127.0.0.1:{self.server.port}"
        ask(self.at, "/")
        self.callbacks: list[dict[str, Any]] = json.loads(ask(self.at, "/_dash-dependencies").body)

    def end(self) -> None:
        self.server.end()
        if self.recorder.child.poll() is None:
            self.recorder.end(signal.SIGINT)
        self.board.close()


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Attacked]:
    made = Attacked(tmp_path_factory.mktemp("attacked"))
    yield made
    made.end()


def check(answer: Answer) -> None:
    """Every answer is one that HTTP has a name for, and says nothing of the inside."""
    assert answer.status in REASONABLE | {500}
    for inside in (b"Traceback", b'File "', b"site-packages", b".py"):
        assert inside not in answer.body or answer.status == 200
    assert b"nosniff" in bytes(answer.headers)


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=10), inner, max_size=5),
    max_leaves=20,
)
KEYS = ["output", "outputs", "inputs", "state", "changedPropIds", "parsedChangedPropsIds"]


@MANY
@given(
    body=st.binary(max_size=2000), kind=st.sampled_from(["application/json", "text/plain", "", "multipart/form-data"])
)
def test_any_bytes(attacked: Attacked, body: bytes, kind: str) -> None:
    answer = ask(attacked.at, PATH, method="POST", body=body, headers={"Content-Type": kind})
    check(answer)
    assert answer.status == (400 if kind == "application/json" else 415)


@MANY
@given(asked=anything | st.dictionaries(st.sampled_from(KEYS), anything))
def test_any_json(attacked: Attacked, asked: Any) -> None:
    answer = ask(attacked.at, PATH, method="POST", body=json.dumps(asked).encode(), headers=JSON)
    check(answer)
    assert answer.status == 400


def as_dash_names(output: str) -> Any:
    """The outputs of a callback as Dash's pages send them, from the name that the callback has."""

    def one(name: str) -> Any:
        place, _, prop = name.rpartition(".")
        keys = json.loads(place) if place.startswith("{") else None
        if keys and ["ALL"] in keys.values():
            return [{"id": dict.fromkeys(keys, "x"), "property": prop}]
        return {"id": keys or place, "property": prop}

    return [one(name) for name in output[2:-2].split("...")] if output.startswith("..") else one(output)


@st.composite
def places(draw: st.DrawFn, wanted: dict[str, str], values: st.SearchStrategy[Any]) -> Any:
    """One input or state of a callback with a value; for a pattern, some of them."""
    name, prop = wanted["id"], wanted["property"]
    if not name.startswith("{"):
        return {"id": name, "property": prop, "value": draw(values)}
    keys = json.loads(name)
    if ["ALL"] not in keys.values():
        return {"id": keys, "property": prop, "value": draw(values)}
    some = draw(st.lists(values, max_size=3))
    return [{"id": dict.fromkeys(keys, draw(names)), "property": prop, "value": value} for value in some]


names = st.sampled_from(["act", "save", "enter", "meter", "calibrate meter"]) | st.text(max_size=5)
typed = (
    st.none()
    | st.sampled_from(["", "5 gal", "40 psi", "meter", "1e999 L", "-3 ft", "/plan", "?x=1", "\x00"])
    | st.text()
)


@MANY
@given(data=st.data(), values=st.sampled_from([anything, typed]))
def test_callbacks_of_ours_with_any_values(
    attacked: Attacked, data: st.DataObject, values: st.SearchStrategy[Any]
) -> None:
    """In the form that a page sends, with values that no page has. A callback may fail, but it must not tell how."""
    callback = data.draw(st.sampled_from([one for one in attacked.callbacks if not one["clientside_function"]]))
    asked = {
        "output": callback["output"],
        "outputs": data.draw(st.just(as_dash_names(callback["output"])) | anything),
        "inputs": [data.draw(places(one, values)) for one in callback["inputs"]],
        "state": [data.draw(places(one, values)) for one in callback["state"]],
        "changedPropIds": data.draw(
            st.lists(st.sampled_from(['{"press":"save"}.n_clicks', "plan-go.n_clicks"]), max_size=1)
        ),
    }
    answer = ask(attacked.at, PATH, method="POST", body=json.dumps(asked).encode(), headers=JSON)
    check(answer)
    assert answer.status in (200, 204) or answer.body == FAILED


def test_a_callback_that_fails_is_said_on_the_page_and_in_the_log(attacked: Attacked) -> None:
    """A number where a page sends text: one line for whoever keeps the server, one sentence for the screen."""
    callback = next(
        one
        for one in attacked.callbacks
        if "mix-go.n_clicks" in json.dumps(one["inputs"]).replace('", "property": "', ".")
    )
    asked = {
        "output": callback["output"],
        "outputs": as_dash_names(callback["output"]),
        "inputs": [{"id": one["id"], "property": one["property"], "value": 1} for one in callback["inputs"]],
        "state": [{"id": one["id"], "property": one["property"], "value": 7} for one in callback["state"]],
        "changedPropIds": ["mix-go.n_clicks"],
    }
    answer = ask(attacked.at, PATH, method="POST", body=json.dumps(asked).encode(), headers=JSON)
    check(answer)
    assert b"Internal error" in answer.body
    wait_until(lambda: "a page's answer failed: " in attacked.server.output(), "the line in the log")
    assert "Traceback" not in attacked.server.output()


def screen(attacked: Attacked) -> Any:
    return connect(f"ws://{attacked.at}/live/stream", origin=None, additional_headers=cookie_header())


@pytest.mark.parametrize("said", [b"\xff" * 60, "x" * 5000, b"\xff" * 65, "", "{"], ids=lambda said: repr(said[:3]))
def test_a_screen_that_says_more_than_it_was_sent_is_cut_off(attacked: Attacked, said: str | bytes) -> None:
    with pytest.raises(ConnectionClosed), screen(attacked) as stream:
        for _ in range(50):
            stream.send(said)
        for _ in range(100):
            stream.recv(PATIENCE_S)
    with screen(attacked) as stream:
        assert json.loads(stream.recv(PATIENCE_S))["boot"], "and may come again"


@pytest.mark.parametrize("path", [PATH, "/live/tell/mark", "/", "/nowhere"])
def test_huge_bodies(attacked: Attacked, path: str) -> None:
    said_only = ask(attacked.at, path, method="POST", body=b"", headers=JSON | {"Content-Length": str(10**12)})
    assert said_only.status == 413
    inside = b'{"output": "' + b"x" * (MOST_BODY - 14) + b'"}'
    assert ask(attacked.at, path, method="POST", body=inside, headers=JSON).status in REASONABLE - {200, 413}
    chunks = [b"%x\r\n%s\r\n" % (len(piece), piece) for piece in (b"x" * 16384,) * 5]
    with socket.create_connection(("127.0.0.1", attacked.server.port), timeout=20) as raw:
        raw.sendall(
            f"POST {path} HTTP/1.1\r\nHost: {attacked.at}\r\nTransfer-Encoding: chunked\r\n"
            f"Content-Type: application/json\r\nCookie: {cookie_header()['Cookie']}\r\n\r\n".encode()
        )
        raw.sendall(b"".join(chunks))  # over the bound, without an end
        assert raw.recv(100).startswith(b"HTTP/1.1 413 ")


@pytest.mark.parametrize(
    "raw",
    [
        *(
            b"\x00" * 100,
            b"GET\r\n\r\n",
            b"GET / HTTP/9.9\r\n\r\n",
            b"\x16\x03\x01\x02\x00\x01\x00",
            b"GET / HTTP/1.1\r\n\r\n",
        ),
        b"GET /" + b"x" * 100_000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 20_000 + b"\r\n",
        b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"GET /\xff\xfe%ff%00?\xff=%zz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nCookie: \xff\xff\r\n\r\n",
        b"GET /live/stream HTTP/1.1\r\nHost: localhost\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\r\n",
    ],
    ids=lambda raw: repr(raw[:24]),
)
def test_what_is_no_proper_http(attacked: Attacked, raw: bytes) -> None:
    with socket.create_connection(("127.0.0.1", attacked.server.port), timeout=10) as line:
        came = b""
        with suppress(OSError):  # the server may break off in the middle: it has been told enough
            line.sendall(raw)
            line.shutdown(socket.SHUT_WR)
        with suppress(OSError):
            while piece := line.recv(65536):
                came += piece
    assert b"Traceback" not in came
    assert not came or came.startswith(b"HTTP/1.1 4"), came[:200]


def test_after_all_this_the_page_lives_and_the_recording_has_no_gap(attacked: Attacked) -> None:
    """The last test of the module: the recorder has run through all of it."""
    frame = attacked.server.row()["frame"]
    wait_until(lambda: attacked.server.row()["frame"] > frame, "the page goes on")
    assert attacked.server.child.poll() is None
    assert attacked.recorder.end(signal.SIGINT) == 0
    run = read_run(attacked.recorder.run)
    assert run.complete
    assert run.wire_damage <= 1  # the port may be opened in the middle of a line
    assert np.unique(np.diff(run.frames["seq"].astype(int))).tolist() == [1]
    assert len(run.frames) >= frame
