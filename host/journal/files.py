"""What the writer needs of a file system, so that tests can give it one that fills up."""

from __future__ import annotations

import os
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

    def close(self, descriptor: int) -> None:
        """Give the descriptor back."""
        ...


class SystemFiles:
    """The real ones."""

    def create(self, path: Path) -> int:
        """The name is brought to the medium, too: it must survive a power cut."""
        descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o644)
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

    def close(self, descriptor: int) -> None:
        """See Files."""
        os.close(descriptor)
