"""Addresses of the page Backup: the file away; a file sent, looked into, put back."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from fastapi import Request, Response
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect
from starlette.responses import FileResponse, JSONResponse

from dashboards.backup.uploads import Uploads
from dashboards.context import PageContext
from dashboards.ui.refusal import refused
from dashboards.web import progress
from dashboards.web.page_server import Cost, PageServer
from host.backup import Places, backup_name, write_backup
from host.documents.words import sentence
from host.errors import UserError, reason_of
from host.recorder import is_recording

FILE, SENT, RESTORE = "/backup/file", "/backup/sent", "/backup/restore"
MOST_SENT = 1 << 30  # bytes of a file that a browser sends
_QUIET_S = 30.0  # so long a browser may send nothing, or less than this:
_SLOWEST = 20_000  # bytes a second
_AT_ONCE = 1 << 20
_BROKEN_OFF = "The file did not come to its end: try again, nearer to the computer at the sprayer."
_LARGE = "This file is larger than 1 GB: plug it into the computer at the sprayer and restore it there."


def add_backup_routes(server: PageServer, context: PageContext) -> None:
    """Put the addresses on the server."""
    places = Places(context.runs, context.cards, context.starting.settings)
    uploads = Uploads(places)
    uploads.drop_all()

    def file() -> Response:
        folder = Path(tempfile.mkdtemp(prefix="swardflow-"))
        now = datetime.now().astimezone()
        out = folder / backup_name(now)
        software = f"swardflow {version('swardflow')}"
        try:
            write_backup(
                places, out, is_recording=is_recording, now=now, software=software, progress=progress.tell_part
            )
        except UserError as error:
            shutil.rmtree(folder, ignore_errors=True)
            return refused(error)
        done = BackgroundTask(shutil.rmtree, folder, ignore_errors=True)
        return FileResponse(out, media_type="application/zip", filename=out.name, background=done)

    async def sent(request: Request) -> Response:
        try:
            target = await run_in_threadpool(uploads.new_file)
            if trouble := await _taken(request, target):
                uploads.drop(target)
                return _answer(413, trouble)
            key, plan = await run_in_threadpool(uploads.look, target)
        except UserError as error:
            return _answer(409, str(error))
        changes = bool(plan.new or plan.differing)
        return JSONResponse({"ok": True, "key": key if changes else "", "messages": plan.messages})

    async def restore(request: Request) -> Response:
        try:
            plan = await run_in_threadpool(uploads.restore, request.query_params.get("key", ""))
        except UserError as error:
            return _answer(409, str(error))
        return JSONResponse({"ok": True, "messages": ["Restored.", *plan.messages[1:]]})

    server.declare("GET", FILE, file, Cost.LONG, changes=False)
    server.declare("POST", SENT, sent, Cost.LARGE, changes=True)
    server.declare("POST", RESTORE, restore, Cost.LONG, changes=True)


async def _taken(request: Request, target: Path) -> str:
    """Write the body to a new file; a message where it is too large or does not come to its end."""
    said = request.headers.get("content-length", "0")
    if not said.isdecimal() or int(said[:20]) > MOST_SENT:
        return _LARGE
    pieces, done, waiting = aiter(request.stream()), 0, bytearray()
    clock = asyncio.get_running_loop().time
    began = clock()
    try:
        with target.open("xb") as file:
            while (piece := await asyncio.wait_for(anext(pieces, None), _QUIET_S)) is not None:
                done += len(piece)
                if done > MOST_SENT:
                    return _LARGE
                if clock() - began > _QUIET_S + done / _SLOWEST:
                    return _BROKEN_OFF
                waiting += piece
                if len(waiting) > _AT_ONCE:
                    await run_in_threadpool(file.write, bytes(waiting))
                    waiting.clear()
            await run_in_threadpool(file.write, bytes(waiting))
    except (TimeoutError, ClientDisconnect):
        return _BROKEN_OFF
    except OSError as error:
        return f"The file cannot be kept ({reason_of(error)}): make room, then try again."
    return ""


def _answer(status: int, words: str) -> Response:
    body: dict[str, Any] = {"ok": False, "messages": [sentence(words)]}
    return JSONResponse(body, status_code=status)
