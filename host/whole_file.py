"""A small file written in whole or not at all, also when the power goes."""

from __future__ import annotations

import os
from pathlib import Path


def write_whole(path: Path, data: bytes, *, private: bool = False) -> None:
    """Put `data` in the place of what the file held; `private`: readable for its owner alone.

    Raises OSError; then the file is as it was.
    """
    fresh = path.with_name(f".{path.name}.new")
    try:
        with open(fresh, "wb", opener=_private if private else None) as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except OSError:
        fresh.unlink(missing_ok=True)
        raise


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)
