"""The Dash application: one frame (navigation, day or dark) around every page, all files from this machine."""

from __future__ import annotations

import logging
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from dash import Dash, Input, html, page_container, register_page, set_props
from fastapi import HTTPException, Request, Response
from markupsafe import Markup

from dashboards.context import PageContext
from dashboards.pages import PAGES, Page, page_at
from dashboards.ui.refusal import refused
from dashboards.web import visitor
from dashboards.web.asgi import AsgiApp, Message, Scope
from dashboards.web.background import Sequential
from dashboards.web.callbacks import Inputs
from dashboards.web.page_server import PageServer
from dashboards.web.templates import render, style
from host.errors import NotFoundError

HERE = Path(__file__).parent
# Loaded by the frame itself, in its own order; Dash would load them all on every page.
FAILED = "page-failed"
# The answer to a visitor who may only look: nothing changes, and the page says why.
ONLY_LOOKS: dict[str, Any] = {
    "multi": True,
    "response": {},
    "sideUpdate": {FAILED: {"children": visitor.ONLY_LOOKS}},
}
OWN_ASSETS = r".*\.(js|css|svg)$"


class NoPageError(HTTPException):
    """An address that is no page."""


async def _no_page(_: Request, __: Exception) -> Response:
    return refused(NotFoundError("there is no page at this address: it may be mistyped"), ("/home", "To the start"))


class Shell(Dash):
    """Dash with the frame of our own as its index, filled in on the server for the page that is asked for.

    Dash's scripts wait in a <template> element: frame.js starts them once the page's heading has been painted. On a
    phone reading them costs a second without painting. A page with a template of its own never starts them. Styles
    stand in the page: the first paint waits for no further answer.

    Raises NoPageError for an address that is no page: Dash itself answers every address with 200.
    """

    def __init__(self, *args: Any, **options: Any) -> None:
        self._beside = Sequential()
        self.reading: set[Inputs] = set()  # callbacks that change nothing
        self.page: Page | None = None  # whose callbacks are being put up
        super().__init__(*args, **options)

    def callback(self, *places: Any, **options: Any) -> Callable[..., Any]:
        """As Dash's; the function runs beside the event loop."""
        inputs = frozenset((one.component_id_str(), one.component_property) for one in _inputs((places, options)))
        changes: frozenset[str] | None = self.page.changes if self.page else frozenset()
        if changes is not None and not changes & {id_ for id_, _ in inputs}:
            self.reading.add(inputs)
        put = super().callback(*places, **options)
        return lambda function: put(self._beside(function))

    def interpolate_index(self, **parts: str) -> str:  # type: ignore[override]
        """The HTML of one page. Its own template stands in Dash's place."""
        page = page_at(self.backend.request_adapter().path)
        if page is None:
            raise NoPageError(404)
        dash = {name: Markup(part) for name, part in parts.items()}  # HTML that Dash has made
        return render("frame.html", page=page, pages=PAGES, asset=self._versioned, style=style, dash=dash)

    def _versioned(self, name: str) -> str:
        """Address of an asset that changes with the file, so that no browser shows an old one."""
        changed = (HERE / "assets" / name).stat().st_mtime_ns // 1_000_000
        return f"{self.get_asset_url(name)}?m={changed}"


def build_shell(context: PageContext) -> tuple[Shell, PageServer]:
    """The Dash application and the server it stands on; routes of our own go on the server before it starts.

    A page with callbacks is connected to what it may look at: `context`.
    """
    server = PageServer()
    server.add_exception_handler(NoPageError, _no_page)
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
        register(page.title, path=page.path, title=f"{page.title} · Swardflow", layout=_layout(page, context))
    shell.layout = html.Div([html.P(id=FAILED, className="failed", role="alert"), page_container])
    for page in PAGES:
        if page.connect is not None:
            shell.page = page
            page.connect(shell, context)
    shell.page = None
    return shell, server


def _inputs(places: Any) -> Iterator[Input]:
    """The inputs among a callback's arguments, however they are grouped."""
    if isinstance(places, Input):
        yield places
    elif isinstance(places, list | tuple | dict):
        for place in places.values() if isinstance(places, dict) else places:
            yield from _inputs(place)


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
    set_props(FAILED, {"children": "Internal error. Saved data is not affected."})


def _layout(page: Page, context: PageContext) -> Callable[..., Any]:
    def layout(**_: str) -> Any:  # Dash hands on what stands behind the question mark of the address
        return page.layout(context) if page.layout else html.Div()

    return layout
