"""The server put together: Dash as the shell, the live stream beside it, middleware in front."""

from __future__ import annotations

import asyncio
import gc
import socket
import threading
import webbrowser
from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing, suppress
from dataclasses import dataclass
from functools import partial
from ipaddress import ip_address
from pathlib import Path

from dashboards.backup.routes import add_backup_routes
from dashboards.context import PageContext, Starting
from dashboards.live.broadcaster import Broadcaster
from dashboards.live.metrics import add_metrics
from dashboards.live.recorder_client import RecorderClient
from dashboards.live.routes import add_live_routes
from dashboards.live.run_follower import LiveFollower
from dashboards.live.stream import PATH as STREAM_PATH
from dashboards.live.stream import StreamServer
from dashboards.sharing.addresses import own_names
from dashboards.sharing.guests import Guests
from dashboards.sharing.invitations import Invitations
from dashboards.sharing.metrics_key import METRICS, MetricsMiddleware
from dashboards.sharing.network_name import DEFAULT_NAME, NetworkName, can_name
from dashboards.sharing.session_middleware import SessionMiddleware
from dashboards.sharing.terminal_banner import TerminalBanner, guest_link, link
from dashboards.shell import ONLY_LOOKS, build_shell, open_first_page
from dashboards.web.asgi import AsgiApp, Scope
from dashboards.web.callbacks import CallbackFilter
from dashboards.web.compression import Compression
from dashboards.web.first_page import FirstPage
from dashboards.web.http_server import HttpServer
from dashboards.web.limited_log import limit_logs
from dashboards.web.long_work import LongWork
from dashboards.web.look_only import LookOnly
from dashboards.web.offline import add_offline_routes
from dashboards.web.origin_middleware import LOOPBACK_NAMES, OriginMiddleware, is_allowed
from dashboards.web.progress import Progress
from dashboards.web.reception import Reception, raise_file_limit
from dashboards.web.size_limits import SizeLimits
from dashboards.web.units_choice import UnitsChoice
from host.errors import BadInputError, NotNowError, UserError
from host.page_links import forget_links, keep_links
from host.run_folder import LATEST, cards_folder, find_run
from host.settings import load_settings, metrics_key_path

HERE = "127.0.0.1"
EVERYWHERE = "0.0.0.0"
_STREAM_LINE = f"GET {STREAM_PATH}".encode()


@dataclass(frozen=True)
class Sharing:
    """Where the pages are open, to this computer alone or to the local network; port 0 is any that is free.

    `sessions` is a file that keeps who was let in over a restart of the pages; `look_only` is for new guests; `name` is
    for the local network, where a default stands in. Programs read /metrics with `metrics_key`, if there is one.
    `own_code` lets phones in again and again.
    """

    host: str = HERE
    port: int = 0
    shared: bool = False
    look_only: bool = False
    sessions: Path | None = None
    name: str = ""
    metrics_key: str = ""
    own_code: str = ""


def build_app(
    broadcaster: Broadcaster, recorder: RecorderClient, context: PageContext, *, metrics: bool = False
) -> tuple[AsgiApp, Callable[[], Sequence[str]]]:
    """The pages, and what gives the hashes of the scripts that stand in them, for the content security policy."""
    shell, server = build_shell(context)
    add_offline_routes(server)
    add_live_routes(server, broadcaster, recorder.tell)
    add_backup_routes(server, context)
    if metrics:
        add_metrics(server, broadcaster)
    callbacks = CallbackFilter(Compression(server), shell.callback_map, shell.reading)
    look_only = LookOnly(callbacks, server.rules, callbacks, ONLY_LOOKS)
    app = Progress(SizeLimits(LongWork(look_only, server.rules), server.rules))
    app.put_on(server)
    return app, shell.csp_hashes


def serve(folder: Path, follow: str, sharing: Sharing, starting: Starting, *, browse: bool = False) -> int:
    """Follow a run and serve the pages until the process is told to end; the exit code.

    `follow` is "latest" or a run's file name, with or without its folder. Shared pages listen on every address,
    whatever `host` says. `browse` opens a browser.

    Raises UserError when the address is not this machine's own or is taken, or the run cannot be followed.
    """
    host, port = sharing.host, sharing.port
    run = None if follow == LATEST else find_run(follow, folder)
    raise_file_limit()
    limit_logs()
    broadcaster = Broadcaster()
    guests = Guests(sharing.sessions, looks_only=sharing.look_only)
    with ExitStack() as stack:
        listener = stack.enter_context(closing(_listen(EVERYWHERE if sharing.shared else _own_address(host), port)))
        recorder = stack.enter_context(closing(RecorderClient(supervisor=starting.supervisor)))
        follower = LiveFollower(folder, run, broadcaster, recorder)
        follower.alarm, follower.units = recorder.sound_alarm, _remembered_units(starting)
        bound, invitations = int(listener.getsockname()[1]), Invitations(own_code=sharing.own_code)
        invite = partial(guest_link, bound, invitations)
        own_guests, cards = guests if sharing.shared else None, cards_folder(folder)
        context = PageContext(folder, cards, guests=own_guests, starting=starting, live=follower.is_live, invite=invite)
        app, hashes = build_app(broadcaster, recorder, context, metrics=bool(sharing.metrics_key))
        asyncio.run(open_first_page(app))
        banner = _banner(sharing, bound, invitations, stack)
        if sharing.shared:
            guests.changed = banner.tell
        names = LOOPBACK_NAMES | (_shared_names(sharing, banner, bound, stack) if sharing.shared else frozenset())
        first = FirstPage(UnitsChoice(app, partial(_remembered_units, starting)), follower.is_live, follower.is_known)
        sessions = SessionMiddleware(first, invitations, guests, banner.tell, shared=sharing.shared)
        with_metrics = MetricsMiddleware(first, sessions, sharing.metrics_key)
        front = OriginMiddleware(with_metrics, names, shared=sharing.shared, script_hashes=hashes)

        def admit(scope: Scope) -> str | None:
            return sessions.admit(scope) if is_allowed(scope, names, shared=sharing.shared) else None

        stream = StreamServer(broadcaster, admit, lambda session: guests.named(session) is not None)

        def begin() -> None:
            reception.start()
            banner.start()
            if browse:
                own = link(HERE if sharing.shared else host, bound, invitations.own.secret)
                threading.Thread(target=webbrowser.open, args=(own,), daemon=True).start()

        server = HttpServer(front, begin)

        def take(connection: socket.socket, line: bytes, ended: Callable[[], None]) -> None:
            (stream if line.startswith(_STREAM_LINE) else server).take(connection, ended)

        reception = Reception(listener, take)
        for start, stop in ((recorder.start, None), (follower.start, follower.stop), (stream.start, stream.close)):
            start()
            if stop:
                stack.callback(stop)
        stack.callback(reception.close)
        gc.freeze()  # what is there at the start stays: looking through it again and again would hold up all threads
        server.run()
    return 0


def _banner(sharing: Sharing, port: int, invitations: Invitations, stack: ExitStack) -> TerminalBanner:
    """What shows the links, in the terminal and to `swardflow link`, until `stack` ends."""
    banner = TerminalBanner(port, invitations, None if sharing.shared else sharing.host)
    banner.keep = partial(keep_links, port)
    stack.callback(forget_links, port)
    stack.callback(banner.close)
    if sharing.metrics_key:
        banner.tell(f"For programs: http://{HERE}:{port}{METRICS}, with the key in {metrics_key_path()}")
    return banner


def _remembered_units(starting: Starting) -> str:
    """The units of the settings; none where they cannot be read, which the pages say."""
    with suppress(UserError):
        return load_settings(starting.settings).units if starting.settings else ""
    return ""


def _shared_names(sharing: Sharing, banner: TerminalBanner, port: int, stack: ExitStack) -> frozenset[str]:
    """The names under which shared pages answer; where the library is there, the network is told one of them."""
    if not can_name():
        return own_names()
    network_name = NetworkName(sharing.name or DEFAULT_NAME, port)
    banner.name = network_name.name
    network_name.start()
    stack.callback(network_name.close)
    return own_names() | {f"{network_name.name}.local".lower()}


def _own_address(host: str) -> str:
    """The loopback address that is meant by `host`; UserError for any other."""
    try:
        address = ip_address({"localhost": HERE}.get(host, host))
    except ValueError:
        address = None
    if address is None or not address.is_loopback:
        raise BadInputError(
            f"--host {host}: the pages are for this computer only, give {HERE} or leave it out; "
            "--share opens them to the local network"
        )
    return str(address)


def _listen(address: str, port: int) -> socket.socket:
    """A socket that listens at the address; port 0 takes any that is free."""
    if not 0 <= port <= 65535:
        raise BadInputError(f"--http-port {port}: give a number from 1 to 65535, or 0 for any that is free")
    listener = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((address, port))
    except OSError as error:
        listener.close()
        hint = "another program, perhaps a second page, uses it; close that or give another with --http-port"
        raise NotNowError(f"port {port} on {address} cannot be opened ({error.strerror}): {hint}") from None
    listener.listen(128)
    return listener
