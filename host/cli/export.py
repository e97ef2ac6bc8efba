"""`swardflow export`: a run as a table for other programs."""

from __future__ import annotations

import argparse
import sys

from host.cli.calibration_options import add_under_arguments, under_of
from host.cli.shared_options import PIPE, add_json_argument, add_out_argument, add_units_argument, print_answer
from host.cli.which_run import add_run_arguments, run_path
from host.log import counter
from host.run_folder import beside

DESCRIPTION = (
    "Writes one row a report with everything the pipeline works out; column names carry the units. The "
    "table says what it is: rig, calibrations, notes, marks, passes and faults are in the Parquet file's metadata, "
    "on the spreadsheet's other sheets, or beside the CSV file in NAME.datapackage.json."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_run_arguments(parser)
    add_out_argument(
        parser,
        "file to write: *.csv, *.parquet or *.xlsx, or - for CSV into a pipe (default: the run's name with .csv, "
        "beside it)",
        pipe=True,
    )
    add_under_arguments(parser)
    add_units_argument(parser, "the rig's", "si")
    add_json_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Write the table and say where it is."""
    from host.library.later_notes import read_notes
    from host.review.export import export_csv, export_run

    path = run_path(args)
    notes = read_notes(path)
    if args.out == PIPE:
        export_csv(path, sys.stdout.buffer, system=args.units or "", under=under_of(args), later_notes=notes)
        return 0
    out = args.out or beside(path, ".csv")
    rows = export_run(
        path,
        out,
        system=args.units or "",
        under=under_of(args),
        later_notes=notes,
        progress=counter("frames written"),
    )
    print_answer(args, f"{out}: {rows} rows", {"export": out, "run": path, "rows": rows})
    return 0
