"""Where run files lie and what they are called."""

from __future__ import annotations

import re
import time
import unicodedata
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from host.errors import UserError

DEFAULT_FOLDER = Path("~/swardflow-runs")  # stands in host/cli/record.py as well, which must load fast
SUFFIX = ".sward"
LATEST = "latest"
QUIET_S = 3.0  # a run from which nothing has come for so long may be left for a newer one
_NOT_YET_S = 2.0  # a file's time may run ahead of the clock by its own coarseness
_NAME_LENGTH = 40


def run_names(started: datetime, name: str) -> list[str]:
    """Names for a run that started then, the preferred one first: 2026-05-14T0915-harrow-lea.sward."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_NAME_LENGTH].strip("-") or "run"
    stem = f"{started:%Y-%m-%dT%H%M}-{slug}"
    return [stem + SUFFIX, *(f"{stem}-{number}{SUFFIX}" for number in range(2, 100))]


def make_folder(folder: Path) -> Path:
    """The folder for runs, made if it is not there.

    Raises UserError when it cannot be made.
    """
    folder = folder.expanduser()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(
            f"the folder for runs {folder} cannot be made: {error.strerror}; give another with --runs"
        ) from None
    return folder


def newest_run(folder: Path, wall: Callable[[], float] = time.time) -> Path | None:
    """The run in `folder` that was written to last; None when there is none.

    A run that was written to in the future was written before the clock was set back (`wall`: seconds since 1970), as
    on a computer without a clock of its own that has just heard the time: it comes after every other.
    """
    now = wall() + _NOT_YET_S
    found = []
    for path in folder.glob(f"*{SUFFIX}"):
        try:
            written = path.stat().st_mtime
        except FileNotFoundError:
            continue
        found.append((written <= now, written, path.name, path))
    return max(found)[-1] if found else None


def find_run(text: str, folder: Path = DEFAULT_FOLDER) -> Path:
    """The run file meant by `text`: a path, a name in the folder for runs, or "latest".

    Raises UserError when there is none.
    """
    folder = folder.expanduser()
    if text == LATEST:
        run = newest_run(folder)
        if run is None:
            raise UserError(f"there is no run in {folder}: record one with 'swardflow record', or give --runs")
        return run
    for path in (Path(text).expanduser(), folder / text, folder / (text + SUFFIX)):
        if path.is_file():
            return path
    raise UserError(f"there is no run {text}, neither as a path nor in {folder}: check the name, or say 'latest'")
