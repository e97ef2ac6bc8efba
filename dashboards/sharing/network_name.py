"""A name for this computer on the local network, so that a phone can open http://NAME.local (mDNS, RFC 6762).

Needs the extra `name` (zeroconf); without it the pages are found by their addresses alone.
"""

from __future__ import annotations

import logging
import socket
import threading
from collections.abc import Callable, Sequence
from typing import Any

from dashboards.sharing.addresses import network_addresses

DEFAULT_NAME = "swardflow"
LOOK_S = 5.0  # how often the addresses are looked at: a hotspot comes and goes
_SERVICE = "_http._tcp.local."


def can_name() -> bool:
    """Whether the library for it is installed."""
    try:
        import zeroconf  # noqa: F401
    except ImportError:
        return False
    return True


class NetworkName:
    """Answers for `name`.local on this computer's networks until closed; the addresses are followed as they change."""

    def __init__(self, name: str, port: int, addresses: Callable[[], Sequence[str]] = network_addresses) -> None:
        self.name, self._port, self._addresses = name, port, addresses
        self._known: list[str] = []
        self._answering: Any = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="network name", daemon=True)

    def start(self) -> None:
        """Answer from now on, in a thread of its own."""
        self._thread.start()

    def close(self) -> None:
        """Answer no more, and say goodbye to those who know the name."""
        self._stop.set()
        self._thread.join(LOOK_S)

    def look(self) -> None:
        """Answer for the addresses that there are now."""
        addresses = list(self._addresses())
        if addresses == self._known:
            return
        self._end()
        if addresses:
            self._answering = _answer_for(self.name, self._port, addresses)
        self._known = addresses

    def _run(self) -> None:
        said = False
        while True:
            try:
                self.look()
                said = False
            except Exception as error:  # a network that is just going, another program at the port: tried again
                if not said:
                    logging.getLogger(__name__).warning("%s.local is not answered for: %s", self.name, error)
                said = True
            if self._stop.wait(LOOK_S):
                break
        self._end()

    def _end(self) -> None:
        answering, self._answering, self._known = self._answering, None, []
        if answering is not None:
            answering.close()


def _answer_for(name: str, port: int, addresses: Sequence[str]) -> Any:
    from zeroconf import ServiceInfo, Zeroconf

    answering = Zeroconf(interfaces=list(addresses))
    try:
        info = ServiceInfo(
            _SERVICE,
            f"Swardflow on {name}.{_SERVICE}",
            port=port,
            server=f"{name}.local.",
            addresses=[socket.inet_aton(address) for address in addresses],
        )
        answering.register_service(info, allow_name_change=True)
    except BaseException:
        answering.close()
        raise
    return answering
