"""The terminal that a guided command runs in: words out, lines in, and something that changes meanwhile."""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Callable
from typing import Protocol, TextIO

from host.errors import UserError

REFRESH_S = 0.25


class Terminal(Protocol):
    """Where the words go and the keys come from."""

    def say(self, text: str) -> None:
        """Print a line."""

    def ask(self, prompt: str, meanwhile: Callable[[], str]) -> str:
        """A line that the user types; `meanwhile` is called a few times a second and gives what is shown live.

        Raises InputEndedError when there will be no more.
        """


class InputEndedError(UserError):
    """The input was closed."""


class Console:
    """The terminal itself: `keys` is the file descriptor that lines come from."""

    def __init__(self, out: TextIO | None = None, keys: int = 0) -> None:
        self._out = out or sys.stdout
        self._keys = keys
        self._typed = b""
        self._live = os.isatty(keys)

    def say(self, text: str) -> None:
        """Print a line."""
        print(text, file=self._out, flush=True)

    def ask(self, prompt: str, meanwhile: Callable[[], str]) -> str:
        """A line that the user types; where a person sits at a terminal, live figures stand in the line above it.

        Above, and the cursor put back: what is being typed stays as it is.
        """
        print(prompt + ("\n\n> " if self._live else ""), end="", file=self._out, flush=True)
        shown = ""
        while b"\n" not in self._typed:
            if not select.select([self._keys], [], [], REFRESH_S)[0]:
                live = meanwhile()
                if live != shown and self._live:
                    print(f"\x1b7\x1b[A\r\x1b[K{live[: self._columns()]}\x1b8", end="", file=self._out, flush=True)
                    shown = live
                continue
            # Read past Python's own buffer: what lies in it `select` does not see.
            data = os.read(self._keys, 4096)
            if not data:
                self.say("")
                raise InputEndedError("the input ended before the calibration was finished")
            self._typed += data
        line, _, self._typed = self._typed.partition(b"\n")
        if not self._live:
            self.say("")
        return line.decode("utf-8", "replace").strip()

    def _columns(self) -> int:
        """Room in a line: what is longer would run over what is being typed."""
        return (os.get_terminal_size(self._keys).columns or 80) - 1
