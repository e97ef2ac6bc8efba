"""`swardflow watch`: all pages, and a run started at once."""

from __future__ import annotations

import argparse

from host.cli.opening import add_page_arguments
from host.cli.record import add_record_arguments, end_recording_at, fill_in, plan_of, run_request
from host.cli.shared_options import add_runs_argument

DESCRIPTION = (
    "Records everything the board sends and serves all pages, the live page first. Ctrl-C ends the run in good order."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_record_arguments(parser)
    add_runs_argument(parser)
    add_page_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Record and show until stopped."""
    from host.cli.opening import open_pages
    from host.run_folder import DEFAULT_FOLDER
    from host.settings import load_settings

    settings = load_settings()
    fill_in(args, settings)
    plan_of(args)  # a mistake should be said before anything starts
    if args.take_over:
        end_recording_at(args.port)
    return open_pages(args, args.runs or DEFAULT_FOLDER, settings, run_request(args))
