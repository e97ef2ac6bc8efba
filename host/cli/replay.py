"""`swardflow replay`: a recording played out of a pseudo-terminal again."""

from __future__ import annotations

import argparse

from host.cli.which_run import add_run_arguments, run_path

DESCRIPTION = "Play the raw lines of a run file again, byte for byte, out of a port that a reader can open."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    from host.cli.simulate import add_pace_options

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
