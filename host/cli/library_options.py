"""Options for choosing runs of a folder, which several commands share."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from host.cli.calibration_options import add_under_arguments, under_of
from host.cli.shared_options import add_runs_argument, add_units_argument
from host.log import counter
from host.run_folder import DEFAULT_FOLDER

if TYPE_CHECKING:
    from host.library import Entry, Library
    from host.library.library import Wanted

_READ = "new or changed files read"


def add_library_arguments(parser: argparse.ArgumentParser, *, units: bool = True) -> None:
    """The folder, the filter, what to read the runs under, and the units to show where there are any."""
    add_runs_argument(parser)
    parser.add_argument("--site", default="", metavar="TEXT", help="only runs whose site or area holds this text")
    parser.add_argument("--product", default="", metavar="TEXT", help="only runs whose product holds this text")
    parser.add_argument("--rig-name", default="", metavar="TEXT", help="only runs of rigs whose name holds this text")
    parser.add_argument("--find", default="", metavar="TEXT", help="only runs with this text in their name or any note")
    parser.add_argument("--from", dest="first_day", default="", metavar="DAY", help="first day, such as 2026-04-01")
    parser.add_argument("--to", dest="last_day", default="", metavar="DAY", help="last day")
    add_under_arguments(parser)
    if units:
        add_units_argument(parser, "the newest run's")


def chosen_library(args: argparse.Namespace) -> Library:
    """The library that the arguments name. Raises UserError for a rig that cannot be read."""
    from host.library import Library

    return Library(args.runs or DEFAULT_FOLDER, under=under_of(args))


def every_entry(args: argparse.Namespace) -> list[Entry]:
    """All entries of the library, with a counter on a terminal while files are read."""
    return chosen_library(args).entries(counter(_READ))


def chosen_entries(args: argparse.Namespace) -> list[Entry]:
    """The entries that the arguments take, with the same counter."""
    return chosen_library(args).wanted(wanted_of(args), counter(_READ))


def units_asked(args: argparse.Namespace, entries: list[Entry]) -> str:
    """The units asked for, else those of the newest run, else metric."""
    from host.library.runs_document import units_of

    return str(args.units or units_of(entries))


def wanted_of(args: argparse.Namespace) -> Wanted:
    """The filter that the arguments make. Raises UserError for a day that is none."""
    from datetime import date

    from host.errors import BadInputError
    from host.library.library import Wanted

    for option, text in (("--from", args.first_day), ("--to", args.last_day)):
        try:
            if text and date.fromisoformat(text).isoformat() != text:
                raise ValueError
        except ValueError:
            raise BadInputError(f'{option} is "{text}": give a day as year-month-day, such as 2026-04-01') from None
    return Wanted(args.site, args.product, args.rig_name, args.find, args.first_day, args.last_day)
