"""A secret that stays the same from one start to the next, in a file that only its owner can read."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from host.errors import NotSavedError, reason_of
from host.whole_file import write_whole


def kept_secret(path: Path, make: Callable[[], str], is_whole: Callable[[str], bool]) -> str:
    """The secret in this file; where none is whole, one is made. Raises NotSavedError."""
    with suppress(OSError, UnicodeError):
        if is_whole(kept := path.read_text(encoding="utf-8").strip()):
            return kept
    secret = make()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, f"{secret}\n".encode(), private=True)
    except OSError as error:
        raise NotSavedError(f"the key file {path} cannot be written ({reason_of(error)}): check its folder") from None
    return secret
