"""`swardflow simulate`: an emulated sprayer on a pseudo-terminal, or straight into a run file."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from host.cli.shared_options import add_json_argument, add_out_argument, print_answer
from host.errors import BadInputError, NotSavedError
from host.log import is_quiet

if TYPE_CHECKING:
    from host.simulate.serve import Source, Terminal


DESCRIPTION = "Run a scenario: print the port that a reader can open as it opens a board, or write a run file."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("scenario", nargs="?", metavar="SCENARIO", help="a scenario file or the name of one in --list")
    parser.add_argument("--list", action="store_true", help="name the scenarios that come along, and end")
    add_json_argument(parser)
    add_pace_options(parser)
    add_out_argument(parser, "write this run file instead of serving a port", pipe=False)
    parser.add_argument("--truth", type=Path, metavar="FILE", help="where the truth goes; with --out RUN.truth.json")


def add_pace_options(parser: argparse.ArgumentParser) -> None:
    """The options that `simulate` and `replay` share."""
    parser.add_argument("--speed", default="1", metavar="N|max", help="times real time, or as fast as it is read")
    parser.add_argument(
        "--link",
        metavar="PATH",
        help="a symbolic link that always points to the port; or socket://HOST:PORT, a port over the network, which is "
        "all there is where the system has no pseudo-terminals (then: any free one of this computer)",
    )


def run(args: argparse.Namespace) -> int:
    """Carry the command out."""
    from host.parent import end_with_parent
    from host.simulate.scenario import load_scenario, packaged_scenarios

    if args.list:
        known = packaged_scenarios()
        print_answer(args, "\n".join(f"{name:24} {title}" for name, title in known.items()), {"scenarios": known})
        return 0
    if args.scenario is None:
        raise BadInputError("no scenario given: name one, or see them with --list")
    end_with_parent()
    pace = parse_speed(args.speed)
    scenario = load_scenario(args.scenario)
    from host.simulate.scenario_source import ScenarioSource
    from host.simulate.truth import write_truth

    if args.out is not None:
        from host.simulate.run_writer import write_run

        truth_file = args.truth or args.out.with_suffix(".truth.json")
        refuse_existing(truth_file)
        source = write_run(scenario, args.out, progress_line("simulated"))
        end_progress()
        write_truth(truth_file, source.sprayer)
        print_answer(args, f"run file {args.out}, truth {truth_file}", {"run": args.out, "truth": truth_file})
        return 0
    if args.truth is not None:
        refuse_existing(args.truth)
    source = ScenarioSource(scenario)
    try:
        serve_source(source, pace, args.link, "simulated")
    finally:
        if args.truth is not None:
            write_truth(args.truth, source.sprayer)
            print(f"truth {args.truth}")
    return 0


def parse_speed(text: str) -> float:
    """Times real time; math.inf for "max".

    Raises UserError for anything else.
    """
    if text == "max":
        return math.inf
    try:
        speed = float(text)
    except ValueError:
        speed = math.nan
    if not 0.01 <= speed <= 10_000:
        raise BadInputError(f"--speed: '{text}' is no speed; give a number from 0.01 to 10000, or max")
    return speed


def refuse_existing(path: Path) -> None:
    """Raise UserError rather than write over a file."""
    if path.exists():
        raise NotSavedError(f"file {path} exists and is not written over; choose another name")


def has_pseudo_terminals() -> bool:
    """Whether this system has them."""
    return find_spec("fcntl") is not None and find_spec("termios") is not None


def open_port(link: str | None) -> Terminal:
    """The port that `link` asks for. Raises UserError when it cannot be opened."""
    from host.simulate.socket_port import HERE, SocketPort

    if (link or "").lower().startswith("socket:"):
        return SocketPort(str(link))
    if has_pseudo_terminals():
        from host.simulate.terminal import PseudoTerminal

        return PseudoTerminal(Path(link) if link else None)
    if link:
        raise BadInputError("this system has no pseudo-terminals to link to: give --link socket://127.0.0.1:5000")
    return SocketPort(HERE)


def serve_source(source: Source, pace: float, link: str | None, word: str) -> int:
    """Play `source` out of a port to its end; returns how many lines found no reader."""
    import signal
    import time

    from host.simulate.serve import Server, serve

    again = link

    def open_terminal() -> Terminal:
        nonlocal again
        terminal = open_port(again)
        if terminal.path.startswith("socket:"):
            again = terminal.path  # a board that comes back has the port it had
        print(f"port {terminal.path}" + (f", also {link}" if link and again != terminal.path else ""), flush=True)
        return terminal

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)  # as Ctrl-C: the link goes, the truth so far is written
    server = Server(source, open_terminal, time.monotonic, pace)
    print(f"{source.duration_s:.0f} s long; begins when a reader opens the port", flush=True)
    try:
        serve(server, time.sleep, progress_line(word, source.duration_s))
    finally:
        end_progress()
    if server.lines_lost:
        print(f"{server.lines_lost} lines were sent while nobody was reading")
    return server.lines_lost


def progress_line(word: str, total_s: float | None = None) -> Callable[[float], None] | None:
    """Something that shows how far a run has got, in one line rewritten in place; None where nobody would see it."""
    if is_quiet() or not sys.stderr.isatty():
        return None
    shown = -1.0

    def show(now_s: float) -> None:
        nonlocal shown
        if now_s - shown < 1.0:
            return
        shown = now_s
        end = f" of {total_s:.0f}" if total_s else ""
        print(f"\r{word} {now_s:.0f}{end} s ", end="", file=sys.stderr, flush=True)

    return show


def end_progress() -> None:
    """Leave the line that shows progress, so that what follows stands on one of its own."""
    if sys.stderr.isatty() and not is_quiet():
        print(file=sys.stderr)
