"""What the terminal shows: the links, the code that holds now, the code to point a phone at, and who was let in.

Printed from a thread of its own, which survives whatever goes wrong: a terminal that is held up must not hold up the
pages, and phones must be able to come in for as long as the pages are there.
"""

from __future__ import annotations

import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence

from dashboards.sharing.addresses import network_addresses
from dashboards.sharing.invitations import Invitations, in_groups

LOOK_S = 5.0  # how often the addresses are looked at: a hotspot comes and goes
_MOST_NEWS = 20  # of more at once, the last ones are shown
_BORDER = 2  # light modules around a QR code; ISO/IEC 18004 asks for four, the lines around it give the rest
_BLACK_ON_WHITE, _PLAIN = "\x1b[30;107m", "\x1b[0m"
_HALVES = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}


def link(host: str, port: int, secret: str) -> str:
    """The address that opens a session."""
    return f"http://[{host}]:{port}/?key={secret}" if ":" in host else f"http://{host}:{port}/?key={secret}"


def guest_link(port: int, invitations: Invitations) -> tuple[str, str]:
    """The link and the code that let the next guest in, as a page shows them; no link without a network."""
    addresses, guest = network_addresses(), invitations.guest
    return (link(addresses[0], port, guest.secret) if addresses else "", in_groups(guest.code))


def qr_lines(text: str) -> list[str]:
    """A QR code in half blocks, black on white whatever the terminal's colours are."""
    import segno

    rows = [list(row) for row in segno.make(text, micro=False, error="m").matrix_iter(border=_BORDER)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    pairs = zip(rows[::2], rows[1::2], strict=True)
    return [
        _BLACK_ON_WHITE + "".join(_HALVES[upper, lower] for upper, lower in zip(*pair, strict=True)) + _PLAIN
        for pair in pairs
    ]


def shared_lines(
    addresses: Sequence[str], port: int, invitations: Invitations, *, with_qr: bool, name: str = ""
) -> list[str]:
    """What has to be known to open a shared page; `name` is that of this computer on the network, if it has one."""
    guest = invitations.guest
    if addresses:
        lines = ["On a phone on the same network:", *(f"  {link(one, port, guest.secret)}" for one in addresses)]
        lines += qr_lines(link(addresses[0], port, guest.secret)) if with_qr else []
    else:
        lines = [
            "This computer is on no network yet. Join one, such as a phone's hotspot: the address appears here then."
        ]
    return [
        *lines,
        *([f"By name, where the phone knows it: http://{name}.local:{port}"] if name and addresses else []),
        f"Or open the address up to the number {port} and type the code: {in_groups(guest.code)}",
        "Link and code open one browser; then the next ones are shown.",
        f"On this computer:  {link('127.0.0.1', port, invitations.own.secret)}",
        "Not encrypted (http): anyone on this network could read along. Share only on a network that you trust.",
    ]


class TerminalBanner:
    """Shows the links at the start, and again whenever one was used or the addresses have changed.

    `host` is where a page that is not shared listens; a shared one has `host` None.
    """

    def __init__(
        self,
        port: int,
        invitations: Invitations,
        host: str | None = None,
        *,
        addresses: Callable[[], list[str]] = network_addresses,
        with_qr: bool | None = None,
        say: Callable[[str], None] = lambda text: print(text, flush=True),
    ) -> None:
        self._port, self._invitations, self._host = port, invitations, host
        self._addresses = addresses
        self._with_qr = _can_draw() if with_qr is None else with_qr
        self._say = say
        self._news: deque[str] = deque(maxlen=_MOST_NEWS)
        self.name = ""  # of this computer on the network
        # Given the links whenever they are other ones, for who has no terminal to look at.
        self.keep: Callable[[Sequence[str]], None] = lambda lines: None
        self._wake = threading.Event()
        self._stopped = False
        self._known: list[str] = []  # the addresses seen last
        self._shown: tuple[list[str], object, object] | None = None

    def start(self) -> None:
        """Show from now on, until the process ends or `close`."""
        threading.Thread(target=self._keep_showing, name="terminal banner", daemon=True).start()

    def close(self) -> None:
        """Show no more."""
        self._stopped = True
        self._wake.set()

    def tell(self, message: str) -> None:
        """Show a message, and the links again if they are other ones; never waits."""
        self._news.append(message)
        self._wake.set()

    def show(self) -> None:
        """Show what is new."""
        lines = [self._news.popleft() for _ in range(len(self._news))]
        invitations = self._invitations
        if self._host is None:
            self._look_around()
        now = (self._known, invitations.guest if self._host is None else None, invitations.own)
        if now != self._shown:
            lines += self._links(first=self._shown is None, with_qr=self._with_qr)
            self.keep([*self._links(first=True, with_qr=False), *self._own_code()])
            self._shown = now
        if lines:
            self._say("\n" + "\n".join(lines))  # the recorder's line may stand there half written

    def _links(self, *, first: bool, with_qr: bool) -> list[str]:
        if self._host is None:
            return shared_lines(self._known, self._port, self._invitations, with_qr=with_qr, name=self.name)
        words = "Live page:" if first else "For another browser on this computer:"
        return [f"{words} {link(self._host, self._port, self._invitations.own.secret)}"]

    def _own_code(self) -> list[str]:
        """For its owner's eyes: never shown in the terminal, which a service writes into the system's log."""
        if self._host is not None or not self._invitations.own_code:
            return []
        return [f"Your own code, which goes on holding: {in_groups(self._invitations.own_code)}"]

    def _look_around(self) -> None:
        try:
            self._known = self._addresses()
        except Exception:  # too many open files, a network that is just going: the addresses seen last are shown
            return

    def _keep_showing(self) -> None:
        while not self._stopped:
            self._wake.clear()
            try:
                self.show()
            except Exception:  # the terminal is gone, or does not take the letters: the pages go on
                self._shown = None  # tried again
            self._wake.wait(LOOK_S)


def _can_draw() -> bool:
    """Whether the output is a terminal that takes half blocks."""
    try:
        "▀".encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return sys.stdout.isatty()
