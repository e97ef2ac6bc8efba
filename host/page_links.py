"""The links that let a browser in, kept for who started the pages: a service's terminal is nowhere to be seen.

One file for each port beside the settings, readable for its owner alone; it goes when the pages end, or, where they
were cut off, when the next ones are opened.
"""

from __future__ import annotations

import re
import socket
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from host.settings import settings_path
from host.whole_file import write_whole

_NAME = re.compile(r"links-(\d{1,5})\.txt")
_PATIENCE_S = 1.0


def keep_links(port: int, lines: Sequence[str]) -> None:
    """Keep what opens the pages on `port` now. A disk that takes nothing costs only this."""
    path = _path(port)
    for other in _files():
        if other != port and not _answers(other):
            forget_links(other)
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, "\n".join([*lines, ""]).encode(), private=True)


def forget_links(port: int) -> None:
    """The pages on `port` have ended."""
    with suppress(OSError):
        _path(port).unlink()


def open_links() -> dict[int, str]:
    """What opens the pages, by their port; of those that ended without a word nothing is told."""
    found: dict[int, str] = {}
    for port in filter(_answers, _files()):
        with suppress(OSError, UnicodeDecodeError):
            found[port] = _path(port).read_text(encoding="utf-8").rstrip("\n")
    return found


def _files() -> list[int]:
    """The ports that a file is kept for."""
    with suppress(OSError):
        names = sorted(path.name for path in settings_path().parent.iterdir())
        return [int(match[1]) for match in map(_NAME.fullmatch, names) if match]
    return []


def _path(port: int) -> Path:
    return settings_path().with_name(f"links-{port}.txt")


def _answers(port: int) -> bool:
    with suppress(OSError, OverflowError), socket.create_connection(("127.0.0.1", port), _PATIENCE_S):
        return True
    return False
