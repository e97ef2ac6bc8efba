"""What a browser keeps so that a page opens without the computer: the live page, and one that says that it is offline.

Browsers allow a service worker only over https or on the computer itself (Service Workers, W3C: secure contexts). It is
served from the top, for it works on the pages below its own address only. No data of a run is kept.
"""

from __future__ import annotations

from fastapi import Response
from starlette.responses import HTMLResponse

from dashboards.web.page_server import Cost, PageServer
from dashboards.web.templates import HERE, render

WORKER, OFFLINE = "/worker.js", "/offline"


def add_offline_routes(server: PageServer) -> None:
    """Put the worker and the page on the server that Dash runs on."""
    script = (HERE / "assets" / "worker.js").read_text(encoding="utf-8")

    async def worker() -> Response:
        return Response(script, media_type="text/javascript")

    async def offline() -> Response:
        return HTMLResponse(render("web/offline.html"))

    server.declare("GET", WORKER, worker, Cost.QUICK, changes=False)
    server.declare("GET", OFFLINE, offline, Cost.QUICK, changes=False)
