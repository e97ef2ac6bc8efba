"""The server put together: Dash as the shell, the live page's routes beside it, the gate in front."""

from __future__ import annotations

import socket
from contextlib import closing
from ipaddress import ip_address
from pathlib import Path

from dashboards.gate import AsgiApp, Gate
from dashboards.live.following import Follower
from dashboards.live.newest import Newest
from dashboards.live.recording import RecorderDoor
from dashboards.live.routes import add_live_routes
from dashboards.shell import build_shell
from dashboards.surroundings import Surroundings
from host.errors import UserError
from host.recorder.folder import LATEST, find_run


def build_app(newest: Newest, door: RecorderDoor, surroundings: Surroundings) -> AsgiApp:
    """The whole application as the server runs it."""
    shell, server = build_shell(surroundings)
    add_live_routes(server, newest, door.tell)
    del shell  # it hangs on the server's routes
    return Gate(server)


def serve(folder: Path, follow: str, host: str, port: int) -> int:
    """Follow a run and serve the pages until the process is told to end; the exit code.

    `follow` is "latest" or a run's file name, with or without its folder.

    Raises UserError when the address is not this machine's own or is taken, or the run cannot be followed.
    """
    run = None if follow == LATEST else find_run(follow, folder)
    import uvicorn

    newest = Newest()
    with closing(_listen(host, port)) as listener, closing(RecorderDoor()) as door:
        follower = Follower(folder, run, newest, door)
        follower.alarm = door.sound_alarm
        config = uvicorn.Config(
            build_app(newest, door, Surroundings(folder, folder / "cards")),
            log_level="warning",
            access_log=False,
            ws="websockets-sansio",
            ws_max_size=4096,
            ws_max_queue=8,
            timeout_graceful_shutdown=1,
        )
        door.start()
        follower.start()
        try:
            where = f"[{host}]" if ":" in host else host
            print(f"Live page: http://{where}:{listener.getsockname()[1]}/", flush=True)
            uvicorn.Server(config).run(sockets=[listener])
        finally:
            follower.stop()
    return 0


def _listen(host: str, port: int) -> socket.socket:
    """A socket that listens at the address; port 0 takes any that is free."""
    name = {"localhost": "127.0.0.1"}.get(host, host)
    try:
        address = ip_address(name)
    except ValueError:
        address = None
    if address is None or not address.is_loopback:
        raise UserError(f"--host {host}: the pages are for this computer only, give 127.0.0.1 or leave it out")
    if not 0 <= port <= 65535:
        raise UserError(f"--port {port}: give a number from 1 to 65535, or 0 for any that is free")
    listener = socket.socket(socket.AF_INET6 if address.version == 6 else socket.AF_INET)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((str(address), port))
    except OSError as error:
        listener.close()
        hint = "another program, perhaps a second page, uses it; close that or give another with --port"
        raise UserError(f"port {port} on {host} cannot be opened ({error.strerror}): {hint}") from None
    listener.listen(128)
    return listener
