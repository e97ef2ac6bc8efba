"""`swardflow runs`: the library, and notes added to a run afterwards."""

from __future__ import annotations

import argparse

from host.cli.document_output import add_output_arguments, print_document
from host.cli.library_options import add_library_arguments, chosen_entries, chosen_library, units_asked
from host.run_folder import DEFAULT_FOLDER, find_run

DESCRIPTION = "Lists the run files of a folder. Damaged, foreign and empty files are named, each in a sentence."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_library_arguments(parser)
    add_output_arguments(parser)
    parser.add_argument(
        "--note",
        nargs=2,
        metavar=("RUN", "KEY=TEXT"),
        help="add a note or correction beside the run file, such as 'tank left=2 gal'; the file itself stays as it is",
    )


def run(args: argparse.Namespace) -> int:
    """Print the list; 1 when some file could not be read in full."""
    from host.library.library import problems
    from host.library.runs_document import runs_document

    if args.note:
        return _note(args)
    entries = chosen_entries(args)
    print_document(runs_document(entries, chosen_library(args).folder, units_asked(args, entries)), args)
    return 1 if problems(entries) else 0


def _note(args: argparse.Namespace) -> int:
    from datetime import datetime

    from host.cli.record import note_of
    from host.library.later_notes import add_note

    name, text = args.note
    key, value = note_of(text)
    path = add_note(find_run(name, args.runs or DEFAULT_FOLDER), key, value, datetime.now().astimezone())
    print(f"{path}: note {key!r} added")
    return 0
