"""The port of the pages: whether it is free, who holds it, and how another Swardflow hands it over.

Whoever serves pages answers for their port over a socket like that of a recorder (host/recorder/control.py), in a
folder of this user alone.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from host.errors import BadInputError, NoAnswerError, NotNowError, UserError, reason_of
from host.recorder.control import ask, ask_at, private_folder

TAKEN_OVER = "another Swardflow took over"
HAND_OVER_S = 30.0  # a recorder may take 20 s to bring its backlog to the disk
_LOOK_S = 0.1


def channel_of(port: int) -> Path:
    """Where who serves the pages on `port` can be asked. Raises NoAnswerError when there is no folder for it."""
    return private_folder() / f"pages-{port}.channel"


def pages_at(port: int) -> dict[str, Any] | None:
    """How this user's Swardflow that serves the pages on `port` is doing; None when there is none that answers."""
    try:
        status = ask_at(channel_of(port), {"ask": "status"}, f"the Swardflow on port {port}", "nobody answers")
    except UserError:
        return None
    return status if status.get("pid") != os.getpid() else None


def free_port(port: int, *, shared: bool) -> int:
    """`port` if the pages can have it, on every address of this computer when shared; for 0 any that is free.

    Raises NotNowError when something listens there: a phone that knows the address must not be shown another page.
    """
    if not 0 <= port <= 65535:
        raise BadInputError(f"--http-port {port}: give a number from 1 to 65535, or 0 for any that is free")
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("0.0.0.0" if shared else "127.0.0.1", port))
        except OSError as error:
            raise NotNowError(_in_use(port, error)) from None
        return int(probe.getsockname()[1])


def take_over(
    port: int, clock: Callable[[], float] = time.monotonic, sleep: Callable[[float], None] = time.sleep
) -> None:
    """End the Swardflow that serves the pages on `port`, its run first; does nothing when there is none.

    Raises NoAnswerError when it does not end.
    """
    other = pages_at(port)
    if other is None:
        return
    if other.get("run"):
        with suppress(UserError):  # that run has ended already
            ask(Path(str(other["run"])), {"ask": "stop", "reason": TAKEN_OVER})
    who = f"the Swardflow on port {port}"
    with suppress(NoAnswerError):  # it has just ended
        ask_at(channel_of(port), {"ask": "stop"}, who, "nobody answers")
    until = clock() + HAND_OVER_S
    while pages_at(port) is not None:
        if clock() > until:
            raise NoAnswerError(f"{who} does not end: end process {other.get('pid')}")
        sleep(_LOOK_S)


def _in_use(port: int, error: OSError) -> str:
    """The message for a port that cannot be had: who holds it, and what to do."""
    other_port = "give another port with --http-port"
    if other := pages_at(port):
        does = f"records {other['run']} and serves" if other.get("run") else "serves"
        return (
            f"port {port} for the pages is in use: process {other['pid']}, another Swardflow, {does} the pages there; "
            f"end it with --take-over, or {other_port}"
        )
    holder = _listener(port)
    who = f"process {holder} uses it" if holder else "another program uses it"
    return f"port {port} for the pages cannot be opened ({reason_of(error)}): {who}; end that one, or {other_port}"


def _listener(port: int) -> str:
    """Number and name of the process that listens on `port`, where this user may know that; else nothing."""
    try:
        import psutil

        listening = [
            one.pid
            for one in psutil.net_connections("tcp")
            if one.status == psutil.CONN_LISTEN and one.laddr.port == port and one.pid
        ]
        return f"{listening[0]} ({psutil.Process(listening[0]).name()})" if listening else ""
    except Exception:  # whatever a system does not tell: the sentence stands without it
        return ""
