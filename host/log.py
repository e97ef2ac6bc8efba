"""What a command says beside its answer: on the terminal as `-v` and `-q` ask for, and all of it in a log file.

Answers go to standard output by `print`; progress, what was opened and what is wrong come here. A child process gets
the same options as its parent (`log_arguments`), and both add whole lines to one file.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from host.errors import NotSavedError, reason_of, visible

LOG = logging.getLogger("swardflow")
_OPTIONS = {"verbose": "-v", "quiet": "-q"}


def add_log_arguments(parser: argparse.ArgumentParser) -> argparse._ArgumentGroup:
    """-v, -q and --log, as a group of their own.

    A parser within another one changes nothing that the outer one was given.
    """
    group = parser.add_argument_group("messages")
    absent = argparse.SUPPRESS
    much = group.add_mutually_exclusive_group()
    much.add_argument("-v", "--verbose", action="store_true", default=absent, help="say more: what was done, and times")
    much.add_argument("-q", "--quiet", action="store_true", default=absent, help="only the answer and what is wrong")
    group.add_argument(
        "--log", type=Path, default=absent, metavar="FILE", help="add every message, with its time in UTC, to this file"
    )
    return group


def log_arguments(args: argparse.Namespace) -> list[str]:
    """The same options for a child process."""
    given = vars(args)
    return [word for name, word in _OPTIONS.items() if given.get(name)] + (
        [f"--log={given['log'].absolute()}"] if given.get("log") else []
    )


def begin_log(args: argparse.Namespace, program: str) -> None:
    """Send messages where the options say from now on. Raises NotSavedError for a log file that cannot be opened."""
    given = vars(args)
    end_log()
    LOG.handlers, LOG.propagate = [_Terminal()], False
    level = logging.WARNING if given.get("quiet") else logging.DEBUG if given.get("verbose") else logging.INFO
    LOG.handlers[0].setLevel(level)
    LOG.setLevel(level)
    if path := given.get("log"):
        try:
            LOG.handlers.insert(0, _LogFile(path, program))  # first: a terminal that is gone raises
        except OSError as error:
            raise NotSavedError(
                f"the log file {path} cannot be written ({reason_of(error)}): check its folder, or name another"
            ) from None
        from importlib.metadata import version

        LOG.setLevel(logging.DEBUG)
        LOG.debug("Swardflow %s, Python %s, process %d", version("swardflow"), sys.version.split()[0], os.getpid())


def end_log() -> None:
    """Close the log file, if there is one."""
    for handler in LOG.handlers:
        handler.close()
    LOG.handlers = []


def keep(message: str) -> None:
    """Put a message into the log file alone: the terminal has it already."""
    LOG.info(message, extra={"shown": True})


def is_quiet() -> bool:
    """Whether only the answer and what is wrong is wanted."""
    return any(isinstance(handler, _Terminal) and handler.level >= logging.WARNING for handler in LOG.handlers)


def counter(of_what: str) -> Callable[[int, int], None] | None:
    """Shows "3 of 10 `of_what`" on the terminal, called with both numbers; None where nobody would see it."""
    if is_quiet() or not sys.stderr.isatty():
        return None

    def show(done: int, whole: int) -> None:
        end = "\n" if done >= whole else ""
        print(f"\r{done} of {whole} {of_what}", end=end, file=sys.stderr, flush=True)

    return show


class _Terminal(logging.Handler):
    """News to standard output, mistakes and details to standard error; looked up anew, for they may be exchanged."""

    def emit(self, record: logging.LogRecord) -> None:
        """Print it, unless the terminal has it. Raises as `print` does."""
        if not getattr(record, "shown", False):
            who = "swardflow: " if record.levelno >= logging.ERROR else ""
            out = sys.stdout if record.levelno == logging.INFO else sys.stderr
            print(f"{who}{record.getMessage()}", file=out, flush=True)


class _LogFile(logging.FileHandler):
    """A line for each message: time in UTC, level, program, message. Only its owner may read it."""

    def __init__(self, path: Path, program: str) -> None:
        super().__init__(path, encoding="utf-8", errors="backslashreplace")
        Path(path).chmod(0o600)
        self._program = program

    def format(self, record: logging.LogRecord) -> str:
        """The line, and below it where an unforeseen error came from."""
        moment = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        line = f"{moment} {record.levelname} {self._program}: {visible(record.getMessage())}"
        return f"{line}\n{logging.Formatter().formatException(record.exc_info)}" if record.exc_info else line

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802
        """A full disk stops no recording; what could not be kept is not in the file."""
