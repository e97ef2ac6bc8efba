"""The command `swardflow`: finds the sub-command and turns errors meant for people into one sentence."""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Callable
from importlib import import_module
from typing import Any, NoReturn

from host.errors import UserError

# In the order of the job. Each module has add_parser(subparsers) and run(args) -> int and imports what is heavy
# only inside run, so that --help answers at once.
COMMANDS = (
    "demo",
    "open",
    "ports",
    "settings",
    "rig",
    "bringup",
    "calibrate",
    "plan",
    "mix",
    "watch",
    "record",
    "tell",
    "join",
    "review",
    "runs",
    "compare",
    "season",
    "report",
    "dataset",
    "export",
    "replay",
    "simulate",
    "schema",
)


class Parser(argparse.ArgumentParser):
    """Answers a wrong command line with one sentence, as every other mistake.

    `fill` adds the arguments of a command that has to load much to know them, once it is used.
    """

    def __init__(self, *args: Any, fill: Callable[[Parser], None] | None = None, **options: Any) -> None:
        super().__init__(*args, **options)
        self._fill = fill

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As in the standard library."""
        if self._fill is not None:
            fill, self._fill = self._fill, None
            fill(self)
        return super().parse_known_args(args, namespace)

    def error(self, message: str) -> NoReturn:
        """Print it and end with 2."""
        self.exit(2, f"{self.prog}: {message}; see '{self.prog} --help'.\n")


def build_parser() -> argparse.ArgumentParser:
    """The parser with every command."""
    parser = Parser(
        prog="swardflow",
        description="Flow monitor and run logger for small boom sprayers: plan, calibrate, spray and watch, review.",
    )
    parser.add_argument("--version", action="store_true", help="print the version and end")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    for name in COMMANDS:
        import_module(f"host.cli.{name}").add_parser(commands)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 done with a finding, 2 a mistake the user can mend."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # a name that this terminal cannot write is no reason to stop
    parser = build_parser()
    args = parser.parse_args(argv)
    if args.version:
        from importlib.metadata import version

        print(f"swardflow {version('swardflow')}")
        return 0
    if args.command is None:
        parser.print_help()
        return 2
    return _carry_out(args)


def _carry_out(args: argparse.Namespace) -> int:
    try:
        return int(import_module(f"host.cli.{args.command}").run(args))
    except UserError as error:
        print(f"swardflow: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt as stopped:
        print(f"swardflow: {str(stopped) or 'stopped from the keyboard'}", file=sys.stderr)
        return 130
    except OSError as error:
        if isinstance(error, BrokenPipeError):
            return _reader_gone()
        print(f"swardflow: {_system_words(error)}", file=sys.stderr)
        return 2


def _system_words(error: OSError) -> UserError:
    """What the system refused, where no module has better words for it."""
    what = f"{error.filename}: " if error.filename else ""
    return UserError(f"{what}{(error.strerror or str(error)).lower()}; check the name and its rights, or use another")


def _reader_gone() -> int:
    """The reader of our output has gone (as in `… | head`); there is nobody left to tell."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


if __name__ == "__main__":
    sys.exit(main())
