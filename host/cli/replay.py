"""`swardflow replay`: a recording played out of a pseudo-terminal again."""

from __future__ import annotations

import argparse

from host.cli.which_run import add_run_arguments, run_path


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    from host.cli.simulate import add_pace_options

    parser = subparsers.add_parser(
        "replay",
        help="play a recording again, out of a pseudo-terminal",
        description="Play the raw lines of a run file again, byte for byte, out of a port that a reader can open.",
    )
    add_run_arguments(parser)
    add_pace_options(parser)


def run(args: argparse.Namespace) -> int:
    """Carry the command out."""
    from host.cli.simulate import parse_speed, serve_source
    from host.simulate.replay import ReplaySource

    pace = parse_speed(args.speed)
    path = run_path(args)
    source = ReplaySource(path)
    if source.damaged:
        print(f"{source.damaged} damaged records of {path} are left out")
    serve_source(source, pace, args.link, "replayed")
    return 0
