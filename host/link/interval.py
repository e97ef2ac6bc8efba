"""How often the board is to report: asked for at each of its starts, and what came of it (PROTOCOL.md, section 7)."""

from __future__ import annotations

from firmware_protocol.messages import Ack, Refusal
from host.link.requests import Requests

_TRIES = 3  # of one asking
_ROUNDS = 2  # of a start: a board that has not heard, or that says another interval after all, is asked once more
_DAMAGED = 0x01  # the command broke on the way, which is no word on what the board can


class AskedInterval:
    """Asks for `wanted_ms` when the board says another interval; None leaves the board as it is.

    `in_force_ms` is what the board has said last, 0 before it has.
    """

    def __init__(self, requests: Requests) -> None:
        self.wanted_ms: int | None = None
        self.in_force_ms = 0
        self.refused = False
        self._requests = requests
        self._rounds = 0

    def started(self) -> None:
        """The board has started, or it may be another one: it goes by an interval of its own again."""
        self.in_force_ms, self.refused, self._rounds = 0, False, 0

    def stated(self, interval_ms: int) -> None:
        """The board's identity line has said its interval."""
        self.in_force_ms = interval_ms
        if self.wanted_ms is None or interval_ms == self.wanted_ms or self.refused or self._asking:
            return
        if self._rounds < _ROUNDS:
            self._rounds += 1
            self._requests.add("n", self.wanted_ms, tries=_TRIES)

    def replied(self, reply: Ack | Refusal) -> None:
        """The board has replied to what was asked of it."""
        if isinstance(reply, Ack):
            self.in_force_ms = reply.value
        else:
            self.refused = reply.code != _DAMAGED

    @property
    def not_taken(self) -> bool:
        """Whether the board has been asked and goes on at another interval."""
        return self._rounds > 0 and self.in_force_ms != self.wanted_ms and not self._asking

    @property
    def _asking(self) -> bool:
        return self._requests.has("n")
