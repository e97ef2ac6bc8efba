"""A small file written in whole or not at all, also when the power goes."""

from __future__ import annotations

import os
from pathlib import Path


def write_whole(path: Path, data: bytes) -> None:
    """Put `data` in the place of what the file held. Raises OSError; then the file is as it was."""
    fresh = path.with_name(f".{path.name}.new")
    try:
        with fresh.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except OSError:
        fresh.unlink(missing_ok=True)
        raise
