"""What lets a browser in, once: a link with a secret, and for phones without a camera a short code to type.

The secret of a link is 26 of 31 letters and figures, 128 bits: guessing needs no limit, so nobody can keep out who
scans it. A code of eight is one of 31⁸ = 8.5 × 10¹¹. Wrong codes are limited (session_middleware.py) to 20 at once
and one every three seconds, over all clients together: at most 12,020 in ten hours. One code holds at a time, so the
chance to hit it in ten hours of trying without a pause is 12,020 / 8.5 × 10¹¹ = 1.4 × 10⁻⁸. The link of this
computer's own browser is taken from this computer alone.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # without 0 and O, 1 and I and L
CODE_LENGTH = 8
SECRET_LENGTH = 26
_MOST_TYPED = 64
Draw = Callable[[int], str]


def draw(length: int) -> str:
    """So many letters and figures from the system's random numbers."""
    return "".join(secrets.choice(ALPHABET) for _ in range(length))


def in_groups(code: str) -> str:
    """The code as it is shown, in groups of four: ABCD-EFGH."""
    return f"{code[:4]}-{code[4:]}"


@dataclass(frozen=True)
class Invitation:
    """A link's secret and the code that does the same; both hold until one of them was used."""

    secret: str
    code: str
    own: bool = False


class Invitations:
    """The invitation for guests and the one for this computer's own browser that hold now."""

    def __init__(self, draw: Draw = draw) -> None:
        self._draw = draw
        self.guest = self._new()
        self.own = self._new(own=True)

    def use_link(self, secret: str, *, from_here: bool) -> Invitation | None:
        """The invitation with that secret, which no longer holds after this; None when it is wrong.

        `from_here`: asked from this computer itself, where alone the own one is taken.
        """
        given = secret[:_MOST_TYPED].encode()
        if hmac.compare_digest(given, self.guest.secret.encode()):
            return self._use_guest()
        if hmac.compare_digest(given, self.own.secret.encode()) and from_here:
            used, self.own = self.own, self._new(own=True)
            return used
        return None

    def use_code(self, typed: str) -> Invitation | None:
        """The same for the guests' code. Small letters, spaces and hyphens do not matter."""
        given = "".join(typed[:_MOST_TYPED].upper().replace("-", " ").split()).encode()
        return self._use_guest() if hmac.compare_digest(given, self.guest.code.encode()) else None

    def _use_guest(self) -> Invitation:
        used, self.guest = self.guest, self._new()
        return used

    def _new(self, *, own: bool = False) -> Invitation:
        return Invitation(self._draw(SECRET_LENGTH), self._draw(CODE_LENGTH), own)
