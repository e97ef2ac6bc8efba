"""Every address on the server says what it costs and whether it changes something, or is one of Dash's own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import Response
from starlette.routing import BaseRoute, Route

from dashboards.app import build_app
from dashboards.context import PageContext
from dashboards.live.broadcaster import Broadcaster
from dashboards.live.recorder_client import RecorderClient
from dashboards.shell import ONLY_LOOKS, build_shell
from dashboards.web.callbacks import CallbackFilter
from dashboards.web.look_only import LookOnly
from dashboards.web.page_server import Cost, PageServer
from dashboards.web.visitor import VISITOR, Visitor
from host.run_folder import cards_folder
from tests.dashboards.asked import everything, told


@pytest.fixture
def server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> PageServer:
    """As `build_app` puts it together."""
    made: list[PageServer] = []

    def noting(context: PageContext) -> Any:
        shell, server = build_shell(context)
        made.append(server)
        return shell, server

    monkeypatch.setattr("dashboards.app.build_shell", noting)
    build_app(Broadcaster(), RecorderClient(), PageContext(tmp_path, cards_folder(tmp_path)))
    return made[0]


def of_ours(server: PageServer) -> Iterator[tuple[Route, str]]:
    """The routes whose function is of this project, each with a method that it takes."""
    routes: list[BaseRoute] = list(server.routes)
    for route in routes:
        if isinstance(route, Route) and not route.endpoint.__module__.startswith("dash."):
            yield from ((route, method) for method in sorted(route.methods or ()) if method != "HEAD")


def scope_of(route: Route, method: str) -> dict[str, Any]:
    path = route.path.replace("{action}", "mark")
    return {"type": "http", "method": method, "path": path, "headers": [], "client": ("127.0.0.1", 1)}


def test_no_address_is_left_out(server: PageServer) -> None:
    found = list(of_ours(server))
    assert len(found) >= 11
    for route, method in found:
        rules = server.rules(scope_of(route, method))
        assert rules is not None, f"{route.path} is not declared: see PageServer.declare"
        assert method == "POST" if rules.changes else method == "GET", route.path


def test_what_takes_long_is_known(server: PageServer) -> None:
    long = {route.path for route, method in of_ours(server) if server.rules(scope_of(route, method)).cost is Cost.LONG}
    assert long == {
        "/runs/report",
        "/runs/export.csv",
        "/runs/export.parquet",
        "/compare/report",
        "/backup/file",
        "/backup/restore",
    }
    assert server.rules({"type": "http", "method": "POST", "path": "/backup/sent"}).cost is Cost.LARGE
    assert server.rules({"type": "http", "method": "GET", "path": "/runs"}) is None, "a page of Dash"


def test_a_function_that_needs_a_thread_cannot_be_called_quick() -> None:
    with pytest.raises(TypeError, match="is a coroutine"):
        PageServer().declare("GET", "/x", Response, Cost.QUICK, changes=False)


def test_who_may_only_look_is_refused_every_change_and_reads_all_else(server: PageServer) -> None:
    app = LookOnly(everything, server.rules, CallbackFilter(everything, {}, ()), ONLY_LOOKS)
    token = VISITOR.set(Visitor("1", "iPhone 1", looks_only=True))
    try:
        for route, method in of_ours(server):
            rules = server.rules(scope_of(route, method))
            start, body = told(app, scope_of(route, method), {"type": "http.request", "body": b"{}"})
            assert start["status"] == (403 if rules.changes else 200), route.path
            assert (b"You may only look" in body["body"]) == rules.changes
        unknown = {"type": "http", "method": "DELETE", "path": "/nowhere", "headers": []}
        assert told(app, unknown, {"type": "http.request", "body": b""})[0]["status"] == 403
    finally:
        VISITOR.reset(token)
