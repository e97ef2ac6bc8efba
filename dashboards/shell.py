"""The Dash application: one frame (navigation, day or dark) around every page, all files from this machine."""

from __future__ import annotations

import logging
import traceback
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

from dash import Dash, html, page_container, register_page, set_props
from fastapi import FastAPI, HTTPException

from dashboards.context import Surroundings
from dashboards.pages import PAGES, Page, page_at
from dashboards.web.asgi import AsgiApp, Message, Scope
from dashboards.web.background import OneByOne

HERE = Path(__file__).parent
# Loaded by the frame itself, in its own order; Dash would load them all on every page.
FAILED = "page-failed"
OWN_ASSETS = r".*\.(js|css|svg)$"


class Shell(Dash):
    """Dash with the frame of our own as its index, filled in on the server for the page that is asked for.

    On a page with a body of its own Dash's scripts lie in a template: frame.js starts them once the first number is
    there, or after three seconds. On a phone reading them costs a second in which nothing else is painted.

    Raises HTTPException 404 for an address that is no page: Dash itself answers every address with 200.
    """

    def __init__(self, *args: Any, **options: Any) -> None:
        self._beside = OneByOne()
        super().__init__(*args, **options)

    def callback(self, *places: Any, **options: Any) -> Callable[..., Any]:
        """As Dash's; the function runs beside the event loop."""
        put = super().callback(*places, **options)
        return lambda function: put(self._beside(function))

    def interpolate_index(self, **parts: str) -> str:  # type: ignore[override]
        """The HTML of one page. The body comes before Dash's scripts, so it lives while they are still loading."""
        page = page_at(self.backend.request_adapter().path)
        if page is None:
            raise HTTPException(404, "there is no such page")
        frame = (HERE / "frame.html").read_text(encoding="utf-8")
        dash = "\n".join(parts.pop(name) for name in ("config", "scripts", "renderer"))
        values = parts | {
            "dash": f'<template id="dash-later">{dash}</template>' if page.body else dash,
            "title": f"{page.title} · Swardflow",
            "styles": "".join(f'<link rel="stylesheet" href="{self._versioned(name)}">' for name in page.styles),
            "frame_style": self._versioned("frame.css"),
            "frame_script": self._versioned("frame.js"),
            "icon": self._versioned("icon.svg"),
            "navigation": navigation(page),
            "body": page.body,
            "page_scripts": "".join(f'<script src="{self._versioned(name)}"></script>' for name in page.scripts),
        }
        for name, value in values.items():
            frame = frame.replace("{{" + name + "}}", value)
        return frame

    def _versioned(self, name: str) -> str:
        """Address of an asset that changes with the file, so that no browser shows an old one."""
        changed = (HERE / "assets" / name).stat().st_mtime_ns // 1_000_000
        return f"{self.get_asset_url(name)}?m={changed}"


def navigation(current: Page) -> str:
    """Links to the pages there are; the current one, or the one it is reached from, is marked."""

    def mark(page: Page) -> str:
        if page is current:
            return ' aria-current="page"'
        return ' aria-current="true"' if page.path == current.under else ""

    return "".join(f'<a href="{page.path}"{mark(page)}>{escape(page.title)}</a>' for page in PAGES if not page.under)


def build_shell(surroundings: Surroundings) -> tuple[Shell, FastAPI]:
    """The Dash application and the server it stands on; routes of our own go on the server before it starts.

    A page with callbacks is connected to what it may look at: `surroundings`.
    """
    server = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)  # those pages load scripts from elsewhere
    on: Any = server  # Dash's types name only Flask
    shell = Shell(
        "dashboards",
        server=on,
        backend="fastapi",
        assets_folder=str(HERE / "assets"),
        assets_ignore=OWN_ASSETS,
        serve_locally=True,
        compress=True,
        use_pages=True,
        pages_folder="",
        suppress_callback_exceptions=True,  # a page's callbacks are known before the page is there
        update_title="",
        add_log_handler=False,
        on_error=_say_failed,
    )
    shell.backend.websocket_capability = (
        False  # or every page opens Dash's own WebSocket, used or not (plotly/dash#3939)
    )
    register: Any = register_page  # without types in Dash
    for page in PAGES:
        register(page.title, path=page.path, title=f"{page.title} · Swardflow", layout=_layout(page, surroundings))
    shell.layout = html.Div([html.P(id=FAILED, className="failed", role="alert"), page_container])
    for page in PAGES:
        if page.connect is not None:
            page.connect(shell, surroundings)
    return shell, server


async def open_first_page(app: AsgiApp) -> None:
    """Have the server answer for the first page once, before anybody asks.

    Dash adds a script of its own to its pages when that page is asked for: who came for another one first was given a
    page without it. The first screen is also spared what the server does only once.
    """
    scope: Scope = {
        "type": "http",
        "asgi": {"version": "3.0", "spec_version": "2.3"},
        "http_version": "1.1",
        "scheme": "http",
        "method": "GET",
        "path": "/",
        "raw_path": b"/",
        "root_path": "",
        "query_string": b"",
        "headers": [(b"host", b"localhost")],
        "server": ("localhost", 80),
        "client": ("127.0.0.1", 0),
    }

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(_: Message) -> None:
        return

    await app(scope, receive, send)


def _say_failed(error: Exception) -> None:
    """A callback that fails is a mistake of ours: said on the page, and with its place to whoever keeps the server."""
    place = traceback.extract_tb(error.__traceback__)[-1]
    where = f"{Path(place.filename).name}, line {place.lineno}"
    logging.getLogger(__name__).error("a page's answer failed: %s: %s (%s)", type(error).__name__, error, where)
    set_props(
        FAILED, {"children": "Swardflow could not answer that: a mistake of its own. What is saved is not touched."}
    )


def _layout(page: Page, surroundings: Surroundings) -> Callable[..., Any]:
    def layout(**_: str) -> Any:  # Dash hands on what stands behind the question mark of the address
        return page.layout(surroundings) if page.layout else html.Div()

    return layout
