"""`swardflow season`: the runs of one rig against each other."""

from __future__ import annotations

import argparse

from host.cli.calibration_options import cards_named
from host.cli.document_output import add_output_arguments, print_document
from host.cli.library_options import add_library_arguments, chosen_library, every_entry, units_asked, wanted_of
from host.cli.shared_options import PIPE, add_out_argument
from host.errors import BadInputError

_ENDINGS = (".html", ".csv")


DESCRIPTION = (
    "Compares the runs of the newest run's rig (choose others with --rig-name). Unchanged files are "
    "not read again. Note what is left in the tank after each run ('tank left'), so that a meter that drifts can "
    "be told from nozzles that wear."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_library_arguments(parser)
    add_output_arguments(parser)
    add_out_argument(
        parser,
        "write this, too: *.html, the record of the season as a page to print or keep; *.csv, one row for each run; "
        "may be given more than once; - prints the rows as CSV in place of all else",
        pipe=True,
        action="append",
        default=[],
    )


def run(args: argparse.Namespace) -> int:
    """Print what was found; 1 when something was, or a file could not be read."""
    from datetime import datetime

    from host.cli.output_file import write_new
    from host.documents.csv import format_csv
    from host.library.library import problems
    from host.library.runs_document import runs_section, runs_table
    from host.review.card_marks import marks_in
    from host.review.report import format_report
    from host.review.season import season_of
    from host.review.season_document import season_document

    for out in args.out:
        if out != PIPE and out.suffix.lower() not in _ENDINGS:
            raise BadInputError(f"--out {out} has no known ending: name the file *.html or *.csv")
    every, wanted = every_entry(args), wanted_of(args)
    entries = [entry for entry in every if wanted.takes(entry)]
    digests = [entry.digest for entry in entries if entry.digest]
    # A file that cannot be read belongs to no rig and no day: it is named whatever was asked for.
    unread = problems(entry for entry in every if entry.digest is None)
    rig = next((digest.rig for digest in reversed(digests) if digest.started), "")
    cards, bad = marks_in(cards_named(args), rig) if rig else ((), ())
    season = season_of(digests, cards, [f"not read: {problem}" for problem in (*unread, *bad)])
    system = units_asked(args, entries)
    folder = chosen_library(args).folder
    document = season_document(season, system)
    for out in args.out:
        if out.suffix.lower() == ".html":
            mine = [entry for entry in entries if entry.digest and entry.digest.rig == season.rig]
            write_new(out, format_report(document, datetime.now(), [runs_section(mine, folder, system)]))
        else:
            write_new(out, format_csv(runs_table(entries, folder, system)))
    if PIPE not in args.out:
        print_document(document, args)
    return 1 if season.findings or unread else 0
