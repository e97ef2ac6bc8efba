"""A shared page over real sockets: what is there without a session, with one, and for whom a code works."""

from __future__ import annotations

import hashlib
import json
import socket
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from dashboards.__main__ import main
from dashboards.pages import PAGES
from dashboards.sharing.session_middleware import WRONG_EACH
from tests.dashboards.processes import PATIENCE_S, Server, wait_until
from tests.dashboards.shared import SharedServer, ask, ask_patiently
from tests.dashboards.writing import GrowingRun

ADDRESSES = [
    *(page.path for page in PAGES),
    *("/live/newest", "/live/newest?trace=false", "/assets/frame.css", "/assets/live.js", "/assets/icon.svg"),
    *("/_dash-layout", "/_dash-dependencies", "/_reload-hash", "/_favicon.ico", "/nowhere", "/assets/../app.py"),
    *("/_dash-component-suites/dash/dash-renderer/build/dash_renderer.min.js", "/opened/", "/OPENED", "//opened"),
]
WRONG = "22222222"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SharedServer]:
    """A shared server of a run that grows."""
    folder = tmp_path_factory.mktemp("runs")
    run = GrowingRun(folder / "2026-05-14T0915-bowling-green.sward")
    server = SharedServer(folder, tmp_path_factory.mktemp("log") / "log")
    yield server
    server.end()
    run.end()


@pytest.fixture(scope="module")
def cookie(server: SharedServer) -> str:
    """The session of a phone in the network."""
    return server.let_in(server.there)


def stream(at: str, **headers: str) -> Any:
    origin: Any = headers.pop("Origin", f"http://{at}")
    return connect(f"ws://{at}/live/stream", origin=origin or None, additional_headers=headers)


@pytest.mark.parametrize("path", ADDRESSES)
@pytest.mark.parametrize("place", ["here", "there"])
def test_nothing_is_readable_without_a_session(server: SharedServer, path: str, place: str) -> None:
    """On this computer neither: a tunnel's way in looks the same."""
    source = f"127.0.0.{50 + ADDRESSES.index(path)}" if place == "here" else None  # each with an allowance of its own
    at = getattr(server, place)
    for accept in ("text/html", "*/*"):
        answer = ask_patiently(at, path, headers={"Accept": accept}, source=source)
        assert answer.status == 403
        assert b"bowling" not in answer.body
        assert b"harrow" not in answer.body.lower()
        assert "no-store" in answer.headers["cache-control"]


def test_the_entry_page_asks_for_the_code_and_nothing_else(server: SharedServer) -> None:
    answer = ask(server.here, "/plan", headers={"Accept": "text/html"}, source="127.0.0.20")
    assert 'name="code"' in answer.text
    for outside in ("http://", "https://", "<script", "src="):
        assert outside not in answer.text


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "HEAD", "OPTIONS", "PATCH"])
def test_nothing_can_be_done_without_a_session(server: SharedServer, method: str) -> None:
    for path in ("/live/tell/stop", "/_dash-update-component", "/", "/enter", "/?key=" + server.key(server.here)):
        answer = ask(server.here, path, method=method, body=b"{}", headers={"Content-Type": "application/json"})
        assert answer.status == 403, path
        assert "set-cookie" not in answer.headers


def test_the_stream_needs_the_session_and_the_origin(server: SharedServer, cookie: str) -> None:
    with stream(server.there, Cookie=cookie) as live:
        wait_until(lambda: json.loads(live.recv(PATIENCE_S))["row"].get("words") == "On target", "numbers")
    for headers in (
        {},
        {"Cookie": cookie.replace("=", "=0")},
        {"Cookie": cookie, "Origin": ""},
        {"Cookie": cookie, "Origin": "http://elsewhere.example"},
        {"Cookie": cookie, "Origin": f"http://{server.here}"},
    ):
        with pytest.raises(InvalidStatus) as refused, stream(server.there, **headers):
            pass
        assert refused.value.response.status_code == 403, headers


def test_a_link_opens_one_session(server: SharedServer) -> None:
    key = server.key(server.there)
    answer = server.use(server.there, key, "/plan")
    assert answer.headers["location"] == "/opened"
    name, _, rest = answer.headers["set-cookie"].partition("=")
    value, *attributes = rest.split("; ")
    assert name == f"swardflow-{server.port}"
    assert len(bytes.fromhex(value)) == 32
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(attributes)
    assert not any(one.lower().startswith("domain") for one in attributes)
    assert key not in str(answer.headers)
    assert ask_patiently(server.there, f"/?key={key}").status == 403, "used up"
    assert server.newest(server.there, answer.cookie)["row"]
    where = server.there.split(":")[0]
    wait_until(lambda: f", from {where}." in server.output(), "the terminal says who was let in")


def test_a_code_is_taken_as_people_type_it_with_a_name(server: SharedServer) -> None:
    code = server.code().lower()
    answer = server.type_code(server.there, f" {code[:4]}-{code[4:]} ", "Ann Hall", asks=ask_patiently)
    assert (answer.status, answer.headers["location"]) == (303, "/opened")
    wait_until(lambda: "Let in: Ann Hall, from " in server.output(), "the terminal says so")
    wait_until(lambda: server.code().lower() != code, "the next code is shown")
    assert server.type_code(server.there, code, asks=ask_patiently).status == 403, "used up"


def test_the_step_into_the_pages_says_nothing_about_who_asks(server: SharedServer, cookie: str) -> None:
    stranger = ask(server.here, "/opened", source="127.0.0.22")
    assert stranger.text == ask(server.there, "/opened", headers={"Cookie": cookie}).text


def test_the_link_opened_again_in_the_same_browser_uses_nothing_up(server: SharedServer, cookie: str) -> None:
    key = server.key(server.there)
    again = ask(server.there, f"/?key={key}", headers={"Cookie": cookie})
    assert (again.status, again.headers["location"]) == (303, "/opened")
    assert "set-cookie" not in again.headers
    assert server.key(server.there) == key
    server.use(server.there, key)  # still there for the next phone


def test_the_link_of_this_computer_opens_nothing_from_the_network(server: SharedServer) -> None:
    if server.there.startswith("127."):
        pytest.skip("this computer is on no network")
    key = server.key(server.here)
    assert ask_patiently(server.there, f"/?key={key}").status == 403
    server.use(server.here, key)


def test_made_up_sessions_open_nothing(server: SharedServer, cookie: str) -> None:
    name, _, value = cookie.partition("=")
    for made_up in ("", ".", value[:-1], value + "0", "0" * 64, hashlib.sha256(value.encode()).hexdigest(), "é"):
        answer = ask(server.here, "/live/newest", headers={"Cookie": f"{name}={made_up}"}, source="127.0.0.21")
        assert answer.status == 403, made_up
    other_port = cookie.replace(str(server.port), str(server.port + 1))
    assert ask(server.here, "/live/newest", headers={"Cookie": other_port}).status == 403
    several = {"Cookie": f"a=b; {name}=wrong; ;{cookie}; c"}
    assert ask(server.there, "/live/newest", headers=several).status == 200


def test_wrong_codes_make_wait_who_tries_and_nobody_who_scans(server: SharedServer) -> None:
    tries = [server.type_code(server.here, WRONG, source="127.0.0.30") for _ in range(WRONG_EACH + 2)]
    assert [one.status for one in tries] == [403] * WRONG_EACH + [429] * 2
    assert 0 < int(tries[-1].headers["retry-after"]) <= 30
    right = server.code()
    assert server.type_code(server.here, right, source="127.0.0.30").status == 429, "the right one neither, for a while"
    server.use(server.here, server.key(server.here), source="127.0.0.30")  # the link is another matter
    assert server.type_code(server.here, right, source="127.0.0.31").status == 303
    wait_until(lambda: "wrong codes from 127.0.0.30" in server.output(), "the terminal says so")


@pytest.mark.parametrize(
    "host",
    [
        *(
            "rebound.example:{port}",
            "localhost.rebound.example:{port}",
            "0.0.0.0:{port}",
            "{address}:1",
            "{address}",
            "",
        ),
        *("[::]:{port}", "192.168.77.77:{port}", "{address}:{port}, rebound.example", "user@{address}:{port}"),
    ],
)
def test_other_hosts_are_refused_even_with_a_session(server: SharedServer, cookie: str, host: str) -> None:
    named = host.format(address=server.there.split(":")[0], port=server.port)
    for path, method in (("/live/newest", "GET"), ("/live/tell/mark", "POST"), (f"/?key={WRONG}", "GET")):
        answer = ask(
            server.there, path, method=method, headers={"Host": named, "Cookie": cookie, "Origin": f"http://{named}"}
        )
        assert answer.status in (400, 403), named  # 400: the HTTP parser refuses an empty host before us
        assert b"Swardflow printed" in answer.body or answer.status == 400


def test_names_of_this_computer_are_taken(server: SharedServer, cookie: str) -> None:
    for name in (socket.gethostname(), f"{socket.gethostname()}.local".upper()):
        answer = ask(server.there, "/live/newest", headers={"Host": f"{name}:{server.port}", "Cookie": cookie})
        assert answer.status == 200


@pytest.mark.parametrize("origin", ["", "null", "http://elsewhere.example", "http://{here}", "https://{there}.example"])
def test_what_changes_something_must_come_from_our_own_page(server: SharedServer, cookie: str, origin: str) -> None:
    headers = {"Cookie": cookie, "Content-Type": "application/json"}
    sent = origin.format(here=server.here, there=server.there)
    assert ask(server.there, "/live/tell/mark", method="POST", body=b"{}", headers=headers).status == 409  # no recorder
    refused = ask(server.there, "/live/tell/mark", method="POST", body=b"{}", headers=headers | {"Origin": sent})
    assert refused.status == 403


def test_files_outside_are_out_of_reach_with_a_session_too(server: SharedServer, cookie: str) -> None:
    suites = "/_dash-component-suites"
    for path in (
        *(
            "/assets/../app.py",
            "/assets/%2e%2e/app.py",
            "/assets/..%2fapp.py",
            "/assets/....//app.py",
            "/assets//etc/passwd",
        ),
        *("/../../../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/assets/%00", "/assets/..%5capp.py", "/.git/config"),
        *(f"{suites}/dash/../../../../../../etc/passwd", f"{suites}/dash/%2e%2e/__init__.py", f"{suites}/os/os.py"),
        *(f"{suites}/dashboards/app.py", f"{suites}/dash/dash.py"),
        *(
            "/runs/report?name=../log",
            "/runs/report?name=/etc/passwd",
            "/runs/export.csv?name=..%2f..%2f..%2fetc/passwd",
        ),
        *(
            "/runs/export.parquet?name=%00",
            "/runs/report?name=....//....//etc/passwd",
            "/runs/report?name=C:%5cwindows",
        ),
    ):
        answer = ask(server.there, path, headers={"Cookie": cookie})
        assert answer.status in (403, 404, 500), path
        for inside in (b"root:", b"from __future__", b"import ", b"Traceback", b"[core]"):
            assert inside not in answer.body, path


def test_phones_stay_let_in_when_the_page_is_started_again(tmp_path: Path) -> None:
    kept = tmp_path / "sessions.json"
    server = SharedServer(tmp_path, tmp_path / "log", sessions=kept)
    session, key = server.let_in(server.here), server.key(server.here)
    server.child.kill()
    server.child.wait()
    again = SharedServer(tmp_path, tmp_path / "log again", sessions=kept, port=server.port)
    assert "row" in again.newest(again.here, session)
    assert ask(again.here, f"/?key={key}").status == 403, "links are new ones"
    again.end()
    other = SharedServer(tmp_path, tmp_path / "log of another", port=server.port)
    assert ask(other.here, "/live/newest", headers={"Cookie": session}).status == 403
    other.end()


def test_a_page_that_is_not_shared_is_for_who_started_it(tmp_path: Path) -> None:
    """Another user of this computer sees the page that asks for the link."""
    with Server(tmp_path, tmp_path / "log") as server:
        at = f"127.0.0.1:{server.port}"
        assert server.row() is not None
        for path, method in (("/", "GET"), ("/live/newest", "GET"), ("/live/tell/stop", "POST"), ("/enter", "POST")):
            answer = ask(at, path, method=method, headers={"Cookie": "", "Accept": "text/html"})
            assert answer.status == 403, path
        assert "the link that Swardflow showed" in ask(at, "/", headers={"Cookie": "", "Accept": "text/html"}).text
        with pytest.raises(InvalidStatus), stream(at):
            pass


def test_who_may_only_look_sees_the_run_and_changes_nothing(tmp_path: Path) -> None:
    run = GrowingRun(tmp_path / "2026-05-14T0915-bowling-green.sward")
    server = SharedServer(tmp_path, tmp_path / "log", "--look-only")
    guest = server.let_in(server.there)
    own = server.let_in(server.here)
    assert "May only look." in server.output()
    wait_until(lambda: server.newest(server.there, guest)["row"], "numbers")
    headers = {"Content-Type": "application/json", "Cookie": guest}
    refused = ask(server.there, "/live/tell/mark", method="POST", body=b"{}", headers=headers)
    assert (refused.status, b"only look" in refused.body) == (403, True)
    mine = ask(server.here, "/live/tell/mark", method="POST", body=b"{}", headers=headers | {"Cookie": own})
    assert mine.status == 409, "no recorder"
    server.end()
    run.end()


def test_host_and_share_together_are_a_mistake(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--runs", str(tmp_path), "--share", "--host", "192.168.1.7"]) == 2
    assert "leave --host out" in capsys.readouterr().err


def test_sixteen_screens_of_one_browser_and_not_without_end(server: SharedServer, cookie: str) -> None:
    with ExitStack() as stack:
        screens = [stack.enter_context(stream(server.there, Cookie=cookie)) for _ in range(24)]
        for screen in screens[:16]:
            assert json.loads(screen.recv(PATIENCE_S))["boot"]
        assert not opens(server.there, cookie)
        assert opens(server.here, server.let_in(server.here)), "another browser has its own"
    wait_until(lambda: opens(server.there, cookie), "there is room again")


def opens(at: str, cookie: str) -> bool:
    """Whether a screen gets numbers."""
    try:
        with stream(at, Cookie=cookie) as screen:
            return bool(json.loads(screen.recv(PATIENCE_S))["boot"])
    except InvalidStatus:
        return False
