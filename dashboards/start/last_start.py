"""What was typed at the last start, so that the form is filled in at the next one: a file in the folder of runs.

The weather holds for two hours only: that of another day would be a false record.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path

import tomli_w

from host.errors import NotSavedError, UserError, reason_of
from host.toml_text import read_text, toml_tree
from host.whole_file import write_whole

FILE = "last-start.toml"
WEATHER = ("wind", "wind_from", "temperature")
WEATHER_HOLDS_S = 7200.0


def load_last(runs: Path, wall: Callable[[], float] = time.time) -> dict[str, str]:
    """The texts by field, empty when there are none; a file that cannot be read counts as none."""
    path = runs.expanduser() / FILE
    try:
        kept = toml_tree(read_text(path, FILE), FILE, "start a run")
        fresh = 0 <= wall() - path.stat().st_mtime < WEATHER_HOLDS_S
    except (UserError, OSError):
        return {}
    return {key: text for key, text in kept.items() if isinstance(text, str) and text and (fresh or key not in WEATHER)}


def keep_last(runs: Path, texts: Mapping[str, str]) -> None:
    """Keep them for the next time. Raises NotSavedError."""
    path = runs.expanduser() / FILE
    try:
        write_whole(path, tomli_w.dumps({key: text for key, text in texts.items() if text}).encode())
    except OSError as error:
        reason = reason_of(error)
        raise NotSavedError(f"the runs folder takes no file ({reason}): make room there") from None
