"""The server put together: Dash as the shell, the live page's routes beside it, middleware in front."""

from __future__ import annotations

import asyncio
import socket
import threading
import webbrowser
from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

from dashboards.context import PageContext
from dashboards.live.broadcaster import Broadcaster
from dashboards.live.recorder_client import RecorderClient
from dashboards.live.routes import add_live_routes
from dashboards.live.run_follower import LiveFollower
from dashboards.sharing.addresses import own_names
from dashboards.sharing.codes import OWN, Codes, Sessions
from dashboards.sharing.session_middleware import SessionMiddleware
from dashboards.sharing.terminal_banner import TerminalBanner, link
from dashboards.shell import build_shell, open_first_page
from dashboards.web.asgi import AsgiApp
from dashboards.web.callbacks import CallbackFilter
from dashboards.web.compression import Compression
from dashboards.web.origin_middleware import LOOPBACK_NAMES, OriginMiddleware
from dashboards.web.size_limits import SizeLimits
from host.errors import UserError
from host.run_folder import LATEST, cards_folder, find_run

if TYPE_CHECKING:
    import uvicorn

HERE = "127.0.0.1"
EVERYWHERE = "0.0.0.0"
MOST_CONNECTIONS = 400  # under the 1024 files that a process may have open


def build_app(
    broadcaster: Broadcaster, recorder: RecorderClient, context: PageContext
) -> tuple[AsgiApp, Callable[[], Sequence[str]]]:
    """The pages, and what gives the hashes of the scripts that stand in them, for the content security policy."""
    shell, server = build_shell(context)
    add_live_routes(server, broadcaster, recorder.tell)
    return SizeLimits(CallbackFilter(Compression(server), shell.callback_map)), shell.csp_hashes


def serve(folder: Path, follow: str, host: str, port: int, *, key: bytes | None = None, browse: bool = False) -> int:
    """Follow a run and serve the pages until the process is told to end; the exit code.

    `follow` is "latest" or a run's file name, with or without its folder. With a `key` the pages are shared with the
    local network, whatever `host` says, and the key vouches for the sessions (see sharing/). `browse` opens a browser.

    Raises UserError when the address is not this machine's own or is taken, or the run cannot be followed.
    """
    run = None if follow == LATEST else find_run(follow, folder)
    import uvicorn

    broadcaster = Broadcaster()
    with (
        closing(_listen(_own_address(host) if key is None else EVERYWHERE, port)) as listener,
        closing(RecorderClient()) as recorder,
        ExitStack() as stack,
    ):
        follower = LiveFollower(folder, run, broadcaster, recorder)
        follower.alarm = recorder.sound_alarm
        app, hashes = build_app(broadcaster, recorder, PageContext(folder, cards_folder(folder)))
        asyncio.run(open_first_page(app))
        bound = int(listener.getsockname()[1])
        if key is None:
            front: AsgiApp = OriginMiddleware(app, script_hashes=hashes)
            address = f"http://[{host}]:{bound}/" if ":" in host else f"http://{host}:{bound}/"
            print(f"Live page: {address}", flush=True)
        else:
            codes = Codes()
            banner = stack.enter_context(closing(TerminalBanner(bound, codes)))
            guarded = SessionMiddleware(app, codes, Sessions(key), banner.tell)
            front = OriginMiddleware(guarded, LOOPBACK_NAMES | own_names(), shared=True, script_hashes=hashes)
            address = link(HERE, bound, codes[OWN])
            banner.start()
        if browse:
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        recorder.start()
        follower.start()
        stack.callback(follower.stop)
        uvicorn.Server(_config(front)).run(sockets=[listener])
    return 0


def _config(front: AsgiApp) -> uvicorn.Config:
    import uvicorn

    return uvicorn.Config(
        front,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,  # or whoever comes through this machine could say to be somebody else
        limit_concurrency=MOST_CONNECTIONS,
        ws="websockets-sansio",
        ws_max_size=4096,
        ws_max_queue=8,
        timeout_graceful_shutdown=1,
    )


def _own_address(host: str) -> str:
    """The loopback address that is meant by `host`; UserError for any other."""
    try:
        address = ip_address({"localhost": HERE}.get(host, host))
    except ValueError:
        address = None
    if address is None or not address.is_loopback:
        raise UserError(
            f"--host {host}: the pages are for this computer only, give {HERE} or leave it out; "
            "--share opens them to the local network"
        )
    return str(address)


def _listen(address: str, port: int) -> socket.socket:
    """A socket that listens at the address; port 0 takes any that is free."""
    if not 0 <= port <= 65535:
        raise UserError(f"--port {port}: give a number from 1 to 65535, or 0 for any that is free")
    listener = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((address, port))
    except OSError as error:
        listener.close()
        hint = "another program, perhaps a second page, uses it; close that or give another with --port"
        raise UserError(f"port {port} on {address} cannot be opened ({error.strerror}): {hint}") from None
    listener.listen(128)
    return listener
