"""Addresses that give a run away: the printable report, and its signals as CSV or Parquet."""

from __future__ import annotations

import shutil
import tempfile
from datetime import datetime
from pathlib import Path

from fastapi import Request, Response
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, HTMLResponse

from dashboards.run_cache import RunCache
from dashboards.ui.fields import asked_for
from dashboards.ui.refusal import refused
from dashboards.web import progress
from dashboards.web.page_server import Cost, PageServer
from dashboards.web.units_choice import shown_units
from host.errors import UserError, visible
from host.review.export import export_run
from host.review.report import format_report
from host.review.run_document import run_document

REPORT, CSV, PARQUET = "/runs/report", "/runs/export.csv", "/runs/export.parquet"
_TYPES = {".csv": "text/csv; charset=utf-8", ".parquet": "application/vnd.apache.parquet"}


def add_run_routes(server: PageServer, run_cache: RunCache) -> None:
    """Put the addresses on the server; a run is asked for with `?name=`, as the list names it."""

    # Plain functions: the server calls them off its event loop.
    def report(request: Request) -> Response:
        try:
            review = run_cache.review(_name(request))
            return HTMLResponse(format_report(run_document(review, shown_units(review.rig.units)), datetime.now()))
        except UserError as error:
            return refused(error)

    def table(request: Request) -> Response:
        ending = Path(request.url.path).suffix
        folder = Path(tempfile.mkdtemp(prefix="swardflow-"))
        try:
            path = run_cache.path_of(_name(request))
            out = folder / f"table{ending}"
            export_run(path, out, progress=progress.tell_part)
        except UserError as error:
            shutil.rmtree(folder, ignore_errors=True)
            return refused(error)
        done = BackgroundTask(shutil.rmtree, folder, ignore_errors=True)
        return FileResponse(out, media_type=_TYPES[ending], filename=visible(path.stem) + ending, background=done)

    server.declare("GET", REPORT, report, Cost.LONG, changes=False)
    for address in (CSV, PARQUET):
        server.declare("GET", address, table, Cost.LONG, changes=False)


def _name(request: Request) -> str:
    return asked_for(request.url.query, "name")
