"""What the terminal shows of a shared page: the addresses, the code that holds now, and the code to point a phone at.

Printed from a thread of its own: a terminal that is held up must not hold up the pages.
"""

from __future__ import annotations

import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress

from dashboards.sharing.addresses import network_addresses
from dashboards.sharing.codes import OWN, PHONE, Codes, in_groups

LOOK_S = 5.0  # how often the addresses are looked at: a hotspot comes and goes
_MOST_NEWS = 20
_BORDER = 2  # light modules around a QR code; ISO/IEC 18004 asks for four, the lines around it give the rest
_BLACK_ON_WHITE, _PLAIN = "\x1b[30;107m", "\x1b[0m"
_HALVES = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}


def link(address: str, port: int, code: str) -> str:
    """The address that opens a session."""
    return f"http://{address}:{port}/?code={code}"


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


def words(addresses: Sequence[str], port: int, codes: Codes, *, with_qr: bool) -> str:
    """Everything that has to be known to open the page, as lines."""
    code = codes[PHONE]
    if addresses:
        lines = ["On a phone on the same network:", *(f"  {link(one, port, code)}" for one in addresses)]
        lines += qr_lines(link(addresses[0], port, code)) if with_qr else []
    else:
        lines = [
            "This computer is on no network yet. Join one, such as a phone's hotspot: the address appears here then."
        ]
    lines += [
        f"Code to type: {in_groups(code)} (for one browser; then the next code is shown)",
        f"On this computer:  {link('127.0.0.1', port, codes[OWN])}",
        "Not encrypted (http): anyone on this network could read along. Share only on a network that you trust.",
    ]
    return "\n".join(lines)


class TerminalBanner:
    """Shows the words at the start and again whenever a code was used or the addresses have changed."""

    def __init__(
        self,
        port: int,
        codes: Codes,
        *,
        addresses: Callable[[], list[str]] = network_addresses,
        with_qr: bool | None = None,
        say: Callable[[str], None] = lambda text: print(text, flush=True),
    ) -> None:
        self._port = port
        self._codes = codes
        self._addresses = addresses
        self._with_qr = _can_draw() if with_qr is None else with_qr
        self._say = say
        self._news: deque[str] = deque(maxlen=_MOST_NEWS)
        self._wake = threading.Event()
        self._stopped = False
        self._shown: tuple[list[str], str, str] | None = None

    def start(self) -> None:
        """Show from now on, until the process ends or `close`."""
        threading.Thread(target=self._keep_showing, name="sharing notice", daemon=True).start()

    def close(self) -> None:
        """Show no more."""
        self._stopped = True
        self._wake.set()

    def tell(self, sentence: str) -> None:
        """Show a sentence, and the codes again if they are other ones; never waits."""
        self._news.append(sentence)
        self._wake.set()

    def show(self) -> None:
        """Show what is new."""
        lines = [self._news.popleft() for _ in range(len(self._news))]
        addresses = self._addresses()
        now = (addresses, self._codes[PHONE], self._codes[OWN])
        if now != self._shown:
            lines.append(words(addresses, self._port, self._codes, with_qr=self._with_qr))
            self._shown = now
        if lines:
            with suppress(OSError, ValueError):  # the terminal is gone; the pages go on
                self._say("\n" + "\n".join(lines))  # the recorder's line may stand there half written

    def _keep_showing(self) -> None:
        while not self._stopped:
            self._wake.clear()
            self.show()
            self._wake.wait(LOOK_S)


def _can_draw() -> bool:
    """Whether the output is a terminal that takes half blocks."""
    try:
        "▀".encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return sys.stdout.isatty()
