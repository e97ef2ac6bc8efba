"""Addresses that give a run away: the printable report, and its signals as CSV or Parquet."""

from __future__ import annotations

import shutil
import tempfile
from datetime import datetime
from pathlib import Path

from fastapi import FastAPI, Request, Response
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, HTMLResponse

from dashboards.run_cache import RunCache
from dashboards.ui.fields import asked_for
from dashboards.ui.refusal import refused
from dashboards.web.units_choice import shown_units
from host.errors import UserError, visible
from host.review.export import export_run
from host.review.report import format_report
from host.review.run_document import run_document

REPORT, CSV, PARQUET = "/runs/report", "/runs/export.csv", "/runs/export.parquet"
_TYPES = {".csv": "text/csv; charset=utf-8", ".parquet": "application/vnd.apache.parquet"}


def add_run_routes(server: FastAPI, run_cache: RunCache) -> None:
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
            export_run(path, out)
        except UserError as error:
            shutil.rmtree(folder, ignore_errors=True)
            return refused(error)
        done = BackgroundTask(shutil.rmtree, folder, ignore_errors=True)
        return FileResponse(out, media_type=_TYPES[ending], filename=visible(path.stem) + ending, background=done)

    server.add_api_route(REPORT, report, methods=["GET"], include_in_schema=False)
    for address in (CSV, PARQUET):
        server.add_api_route(address, table, methods=["GET"], include_in_schema=False)


def _name(request: Request) -> str:
    return asked_for(request.url.query, "name")
