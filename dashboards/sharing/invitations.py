"""What lets a browser in, once: a link with a secret, and for phones without a camera a short code to type.

The secret of a link is 26 of 31 letters and figures, 128 bits: guessing needs no limit, so nobody can keep out who
scans it. A code of eight is one of 31⁸ = 8.5 × 10¹¹. Wrong codes are limited (session_middleware.py) to 20 at once
and one every three seconds, over all clients together: at most 12,020 in ten hours. One code holds at a time, so the
chance to hit it in ten hours of trying without a pause is 12,020 / 8.5 × 10¹¹ = 1.4 × 10⁻⁸. The link of this
computer's own browser is taken from this computer alone.

The owner's own code, if wanted, holds until its file is deleted, for a sprayer that is switched on with nobody at its
computer. It is one of 31¹² = 7.9 × 10¹⁷, so a year of trying (10.5 million codes) hits it with 1.3 × 10⁻¹¹.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from dashboards.sharing.kept_secret import kept_secret

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # without 0 and O, 1 and I and L
CODE_LENGTH = 8
OWN_CODE_LENGTH = 12
SECRET_LENGTH = 26
_MOST_TYPED = 64
Draw = Callable[[int], str]


def draw(length: int) -> str:
    """So many letters and figures from the system's random numbers."""
    return "".join(secrets.choice(ALPHABET) for _ in range(length))


def in_groups(code: str) -> str:
    """The code as it is shown, in groups of four: ABCD-EFGH."""
    return "-".join(code[start : start + 4] for start in range(0, len(code), 4))


def own_code(path: Path) -> str:
    """The owner's own code, kept in this file; made the first time. Raises NotSavedError."""
    return kept_secret(
        path, lambda: draw(OWN_CODE_LENGTH), lambda kept: len(kept) == OWN_CODE_LENGTH and set(kept) <= set(ALPHABET)
    )


@dataclass(frozen=True)
class Invitation:
    """A link's secret and the code that does the same; both hold until one of them was used."""

    secret: str
    code: str
    own: bool = False


class Invitations:
    """The invitation for guests and the one for this computer's own browser that hold now.

    `own_code` goes on holding; empty, there is none.
    """

    def __init__(self, draw: Draw = draw, own_code: str = "") -> None:
        self._draw, self.own_code = draw, own_code
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
        """The same for the guests' code, or the owner's own. Small letters, spaces and hyphens do not matter."""
        given = "".join(typed[:_MOST_TYPED].upper().replace("-", " ").split()).encode()
        if self.own_code and hmac.compare_digest(given, self.own_code.encode()):
            return Invitation("", self.own_code)
        return self._use_guest() if hmac.compare_digest(given, self.guest.code.encode()) else None

    def _use_guest(self) -> Invitation:
        used, self.guest = self.guest, self._new()
        return used

    def _new(self, *, own: bool = False) -> Invitation:
        return Invitation(self._draw(SECRET_LENGTH), self._draw(CODE_LENGTH), own)
