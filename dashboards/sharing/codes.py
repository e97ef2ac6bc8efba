"""Codes that open a session once, and the sessions.

How long a code has to be. There are 31 letters and figures that cannot be taken for one another, so a code of eight is
one of 31⁸ = 8.5 × 10¹¹. Wrong codes are limited (session_middleware.py) to 20 at once and one every three seconds,
over all clients together: at most 12,020 in ten hours. One code holds on the network at a time, so the chance to hit it
in ten hours of trying without a pause is 12,020 / 8.5 × 10¹¹ = 1.4 × 10⁻⁸. The second code is taken only from this
computer itself.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # without 0 and O, 1 and I and L
LENGTH = 8
KEY_BYTES = 32
PHONE = "phone"  # opens a session from anywhere on the network
OWN = "own"  # opens one from this computer only
_MOST_TYPED = 64


def new_code() -> str:
    """A code from the system's random numbers."""
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


def in_groups(code: str) -> str:
    """The code as it is shown, in groups of four: ABCD-EFGH."""
    return f"{code[:4]}-{code[4:]}"


class Codes:
    """The two codes that hold now. Each opens one session and is replaced."""

    def __init__(self, make: Callable[[], str] = new_code) -> None:
        self._make = make
        self._held = {PHONE: make(), OWN: make()}

    def __getitem__(self, kind: str) -> str:
        """The code of that kind that holds now."""
        return self._held[kind]

    def use_up(self, typed: str, *, from_here: bool) -> str | None:
        """The kind of the code that was typed, which no longer holds after this; None when it is wrong.

        Small letters, spaces and hyphens do not matter. `from_here`: asked from this computer itself.
        """
        given = "".join(typed[:_MOST_TYPED].upper().replace("-", " ").split()).encode()
        kinds = (PHONE, OWN) if from_here else (PHONE,)
        right = [kind for kind in kinds if hmac.compare_digest(given, self._held[kind].encode())]
        for kind in right:
            self._held[kind] = self._make()
        return right[0] if right else None


class Sessions:
    """Sessions that a key vouches for: nothing is kept, so they hold over a restart of the page with the same key.

    A session is 256 random bits with their HMAC-SHA-256 (RFC 2104); without the key none can be made up.
    """

    def __init__(self, key: bytes) -> None:
        self._key = key

    def new(self) -> str:
        """A session, as it stands in the cookie."""
        name = secrets.token_hex(32)
        return f"{name}.{self._seal(name)}"

    def name_of(self, cookie: str) -> str | None:
        """The session's name, if the cookie's value is one that `new` gave out under this key."""
        name, _, seal = cookie.partition(".")
        return name if hmac.compare_digest(seal.encode(), self._seal(name).encode()) else None

    def _seal(self, name: str) -> str:
        return hmac.new(self._key, name.encode(), hashlib.sha256).hexdigest()
