"""`swardflow join`: put the end of a run that a full disk did not take behind its file."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.cli.shared_options import add_json_argument, print_answer

DESCRIPTION = (
    "Appends a .rest file to its run file. Nothing is changed unless the two belong together; joining "
    "twice does no harm. The .rest file is left where it is."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("run", type=Path, metavar="RUN_FILE", help="the run file (*.sward)")
    parser.add_argument("rest", type=Path, metavar="REST_FILE", help="its end (*.sward.rest)")
    add_json_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Join the two."""
    from host.journal.joining import join_rest

    done = join_rest(args.run.expanduser(), args.rest.expanduser())
    words = f"{args.rest.name} {done.value}: {args.run} is whole. You may delete {args.rest}."
    print_answer(args, words, {"run": args.run, "rest": args.rest, "done": done.value})
    return 0
