"""The command `swardflow`: finds the sub-command and turns errors meant for people into one sentence."""

from __future__ import annotations

import argparse
import io
import os
import sys
import time
from collections.abc import Callable, Iterable
from functools import cache, partial
from importlib import import_module
from typing import Any, NoReturn

from host.cli.commands import COMMANDS, GROUPS
from host.errors import NotNowError, UserError, closest
from host.log import LOG, add_log_arguments, begin_log, end_log

_EXAMPLES = "examples:"
_FEW = 6


class Parser(argparse.ArgumentParser):
    """Answers a wrong command line with one sentence, as every other mistake.

    `fill` adds the arguments of a command that has to load much to know them, once it is used.
    """

    def __init__(self, *args: Any, fill: Callable[[Parser], None] | None = None, **options: Any) -> None:
        # A shortened option in a script would mean another one some day.
        options.setdefault("allow_abbrev", False)
        options.setdefault("formatter_class", _Formatter)
        super().__init__(*args, **options)
        self._fill = fill
        if fill is None:
            self.messages = add_log_arguments(self)

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As in the standard library, but that what is not known is said here, with what was probably meant."""
        self.fill()
        known, extra = super().parse_known_args(args, namespace)
        if extra:
            options = (name for action in self._actions for name in action.option_strings)
            self.error(f"{extra[0]} is not known{_meant(extra[0].split('=')[0], options)}")
        return known, extra

    def fill(self, *, deep: bool = False) -> None:
        """Add the arguments that were put off; with `deep` those of all commands within, too."""
        if self._fill is not None:
            fill, self._fill = self._fill, None
            self.messages = add_log_arguments(self)
            fill(self)
        for action in self._actions if deep else ():
            if isinstance(action, argparse._SubParsersAction):
                for parser in action.choices.values():
                    parser.fill(deep=True)

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        if action.choices is not None and value not in action.choices:
            names = [str(name) for name in action.choices]
            # A long list hides what was probably meant; --help has it.
            rest = "" if len(names) > _FEW else f" (choose from {', '.join(names)})"
            raise argparse.ArgumentError(action, f"{value!r} is not known{_meant(value, names) or rest}")

    def error(self, message: str) -> NoReturn:
        """Print it and end with 2."""
        self.exit(2, f"{self.prog}: {message}; see '{self.prog} --help'.\n")


class _Formatter(argparse.HelpFormatter):
    """Leaves the lines of examples as they are."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return text if text.startswith(_EXAMPLES) else super()._fill_text(text, width, indent)


class _Commands(Parser):
    """The parser of the program itself: its help shows commands by what they are for."""

    def format_help(self) -> str:
        """Usage, options, and each group of commands."""
        formatter = self._get_formatter()
        formatter.add_usage(self.usage, self._actions, self._mutually_exclusive_groups)
        formatter.add_text(self.description)
        assert self._subparsers is not None
        (commands,) = self._subparsers._group_actions
        assert isinstance(commands, argparse._SubParsersAction)
        lines = {line.dest: line for line in commands._get_subactions()}
        for title, names in GROUPS.items():
            formatter.start_section(title)
            formatter.add_arguments([lines[name] for name in names])
            formatter.end_section()
        for group in (self._optionals, self.messages):
            formatter.start_section(group.title)
            formatter.add_arguments(group._group_actions)
            formatter.end_section()
        formatter.add_text(self.epilog)
        return formatter.format_help()


def _meant(word: object, known: Iterable[str]) -> str:
    meant = closest(word, known)
    return f": did you mean {meant}?" if meant else ""


@cache
def build_parser() -> Parser:
    """The parser with every command."""
    parser = _Commands(
        prog="swardflow",
        description="Flow monitor and run logger for small boom sprayers: plan, calibrate, spray and watch, review.",
        epilog="'swardflow COMMAND --help' explains a command, with examples.",
    )
    parser.add_argument("--version", action="store_true", help="print the version and end")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands", parser_class=Parser)
    for name, about in COMMANDS.items():
        commands.add_parser(name, help=about, fill=partial(_fill_command, name))
    return parser


def _fill_command(name: str, parser: Parser) -> None:
    """What a command takes: its module has add_arguments(parser) and run(args) -> int, and a DESCRIPTION where the line
    in GROUPS does not say all. It imports what is heavy only inside run, so that --help answers at once.
    """
    from host.cli.examples import EXAMPLES

    module = import_module(f"host.cli.{name}")
    parser.description = getattr(module, "DESCRIPTION", None)
    parser.epilog = "\n  ".join((_EXAMPLES, *EXAMPLES[name]))
    module.add_arguments(parser)


def main(argv: list[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 done with a finding, 2 a mistake the user can mend."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # a name that this terminal cannot write is no reason to stop
    parser = build_parser()
    if "_ARGCOMPLETE" in os.environ:  # the shell asks for completions
        import argcomplete

        parser.fill(deep=True)
        argcomplete.autocomplete(parser)
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
    began, code = time.perf_counter(), 2
    try:
        begin_log(args, args.command)
        code = int(import_module(f"host.cli.{args.command}").run(args))
    except UserError as error:
        LOG.error("%s", error)
    except KeyboardInterrupt as stopped:
        LOG.error("%s", str(stopped) or "stopped from the keyboard")
        code = 130
    except BrokenPipeError:
        code = _reader_gone()
    except OSError as error:
        LOG.error("%s", _system_words(error))
    except Exception:
        LOG.critical("this should not have happened", exc_info=True, extra={"shown": True})
        raise
    finally:
        LOG.debug("ended after %.2f s with exit code %d", time.perf_counter() - began, code)
        end_log()
    return code


def _system_words(error: OSError) -> NotNowError:
    """What the system refused, where no module has better words for it."""
    what = f"{error.filename}: " if error.filename else ""
    return NotNowError(f"{what}{(error.strerror or str(error)).lower()}; check the name and its rights, or use another")


def _reader_gone() -> int:
    """The reader of our output has gone (as in `… | head`); there is nobody left to tell."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


if __name__ == "__main__":
    sys.exit(main())
