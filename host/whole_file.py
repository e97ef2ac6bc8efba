"""A small file read from a plain file alone, and written in whole or not at all, also when the power goes."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path


def read_whole(path: Path, most: int = 16 << 20) -> bytes:
    """What a file holds, at most `most` bytes of it. Raises OSError, also for a pipe or device: it may never end."""
    with open(path, "rb", opener=_at_once) as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise OSError(errno.EINVAL, "it is no plain file")
        return file.read(most)


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


def _at_once(path: str, flags: int) -> int:
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))
