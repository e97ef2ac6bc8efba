"""New files that a command writes."""

from __future__ import annotations

import sys
from pathlib import Path

from host.cli.shared_options import PIPE
from host.errors import NotSavedError


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet, UTF-8, line ends as they are; `-` is standard output.

    Raises UserError when it exists or cannot be written.
    """
    if path == PIPE:
        sys.stdout.buffer.write(text.encode("utf-8", "replace"))
        sys.stdout.buffer.flush()
        return
    try:
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except FileExistsError:
        raise NotSavedError(
            f"{path} exists already and is not overwritten: move it away or give another name"
        ) from None
    except OSError as error:
        raise NotSavedError(f"{path} cannot be written ({error.strerror}): choose another place or make room") from None
