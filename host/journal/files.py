"""What the writer needs of a file system, so that tests can give it one that fills up."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import Protocol


class Files(Protocol):
    """The calls of the operating system that the writer makes. All raise OSError as the system does."""

    def create(self, path: Path) -> int:
        """Make a new file for appending and return its descriptor; FileExistsError if the name is taken."""
        ...

    def write(self, descriptor: int, data: bytes) -> int:
        """Append what fits of `data` and return how many bytes that was."""
        ...

    def sync(self, descriptor: int) -> None:
        """Return once everything written is on the medium itself."""
        ...

    def wrong(self, descriptor: int, path: Path, size: int) -> str:
        """What has happened to the file from outside, empty if `path` is still it and holds `size` bytes."""
        ...

    def close(self, descriptor: int) -> None:
        """Give the descriptor back."""
        ...


class SystemFiles:
    """The real ones."""

    def create(self, path: Path) -> int:
        """The name is brought to the medium, too: it must survive a power cut. Only this user may read the file."""
        flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_EXCL
        descriptor = os.open(path, flags | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0), 0o600)
        with suppress(PermissionError):  # a folder cannot be opened on every system
            folder = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
        return descriptor

    def write(self, descriptor: int, data: bytes) -> int:
        """See Files."""
        return os.write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        """See Files."""
        os.fsync(descriptor)

    def wrong(self, descriptor: int, path: Path, size: int) -> str:
        """See Files."""
        try:
            named = path.stat()
        except OSError:
            return "it was deleted or moved away"
        own = os.fstat(descriptor)
        if (named.st_dev, named.st_ino) != (own.st_dev, own.st_ino):
            return "another file was put in its place"
        if own.st_size < size:
            return "it was cut short"
        return "another program wrote into it" if own.st_size > size else ""

    def close(self, descriptor: int) -> None:
        """See Files."""
        os.close(descriptor)
