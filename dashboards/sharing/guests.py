"""The browsers that were let in: kept on the server, listed by name, turned out one by one."""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from dashboards.web.visitor import Visitor
from host.errors import visible
from host.whole_file import write_whole

HOLDS_S = 12 * 3600  # a long day
MOST = 200  # sessions; of more, the oldest ends
LONGEST_NAME = 24
_DEVICES = {
    "iPhone": "iPhone",
    "iPad": "iPad",
    r"Android.*Mobile": "Android phone",
    "Android": "Android tablet",
    "CrOS": "Chromebook",
    "Windows": "Windows computer",
    "Macintosh": "Mac",
    "Linux": "Linux computer",
}


@dataclass(frozen=True)
class Guest:
    """One session. `id` is the SHA-256 of the cookie's token: who reads it cannot use it."""

    id: str
    name: str
    address: str
    since: float  # seconds of the system's clock, to be shown
    opened_s: float  # on a clock that never jumps: one for all processes since the computer was started
    own: bool = False
    looks_only: bool = False

    @property
    def visitor(self) -> Visitor:
        """The guest as pages know it."""
        return Visitor(self.id, self.name, self.looks_only, self.own)


def device_of(user_agent: str) -> str:
    """What the browser says it runs on, in plain words."""
    return next((words for sign, words in _DEVICES.items() if re.search(sign, user_agent[:500])), "Browser")


def clean_name(text: str) -> str:
    """A name as it can be shown everywhere: one line, nothing invisible, not too long."""
    return " ".join(visible(text.strip()).split())[:LONGEST_NAME].strip()


class Guests:
    """The sessions that hold. `file` keeps them over a restart of the pages; without one they end with the process."""

    def __init__(
        self, file: Path | None = None, *, looks_only: bool = False, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._file, self._clock = file, clock
        self._lock = threading.Lock()
        self._guests: dict[str, Guest] = {}
        self._numbered = 0
        self.looks_only = looks_only  # what guests may do who come from now on
        self.changed: Callable[[str], None] = lambda _: None  # called with a message for the terminal
        self._load()

    def admit(self, address: str, device: str, *, own: bool = False, name: str = "") -> str:
        """Open a session; the token for its cookie."""
        token = secrets.token_hex(32)
        with self._lock:
            self._numbered += not own
            called = "This computer" if own else clean_name(name) or f"{device} {self._numbered}"
            may_only_look = self.looks_only and not own
            guest = Guest(_id(token), called, address, time.time(), self._clock(), own, may_only_look)
            self._guests[guest.id] = guest
            while len(self._guests) > MOST:
                self._guests.pop(next(iter(self._guests)))
            self._save()
        self.changed(f"Let in: {guest.name}, from {address}." + (" May only look." if guest.looks_only else ""))
        return token

    def of_token(self, token: str) -> Guest | None:
        """The guest whose cookie holds that token."""
        return self.named(_id(token))

    def named(self, id_: str) -> Guest | None:
        """The guest with that id, if the session holds."""
        with self._lock:
            guest = self._guests.get(id_)
            if guest is not None and not 0 <= self._clock() - guest.opened_s < HOLDS_S:
                del self._guests[id_]
                self._save()
                guest = None
        return guest

    def listed(self) -> list[Guest]:
        """All whose session holds, who came first stands first."""
        return [guest for id_ in list(self._guests) if (guest := self.named(id_))]

    def turn_out(self, id_: str) -> None:
        """End a session at once. This computer's own browser stays."""
        with self._lock:
            guest = self._guests.get(id_)
            if guest is None or guest.own:
                return
            del self._guests[id_]
            self._save()
        self.changed(f"Turned out: {guest.name}.")

    def rename(self, id_: str, name: str) -> None:
        """Call a guest something else; nothing happens without a name."""
        self._change(id_, lambda guest: replace(guest, name=clean_name(name) or guest.name))

    def let_look_only(self, id_: str, looks_only: bool) -> None:
        """Whether a guest may only look. This computer's own browser may do everything."""
        self._change(id_, lambda guest: replace(guest, looks_only=looks_only and not guest.own))

    def _change(self, id_: str, change: Callable[[Guest], Guest]) -> None:
        with self._lock:
            if before := self._guests.get(id_):
                self._guests[id_] = change(before)
                self._save()

    def _save(self) -> None:
        if self._file is None:
            return
        text = json.dumps({"numbered": self._numbered, "guests": [asdict(one) for one in self._guests.values()]})
        with suppress(OSError):  # a full disk keeps nobody out; who is not in the file is let in anew after a restart
            write_whole(self._file, text.encode(), private=True)

    def _load(self) -> None:
        if self._file is None or not self._file.exists():
            return
        try:
            kept = json.loads(self._file.read_text(encoding="utf-8"))
            guests = [Guest(**row) for row in kept["guests"]]
            self._numbered = int(kept["numbered"])
        except (OSError, ValueError, TypeError, KeyError):  # damaged: nobody is let in by it
            return
        self._guests = {guest.id: guest for guest in guests}


def _id(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
