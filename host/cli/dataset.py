"""`swardflow dataset`: runs and passes of many rigs as one Parquet dataset."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from host.cli.library_options import add_library_arguments, chosen_entries, chosen_library

if TYPE_CHECKING:
    from host.library import Entry, Library
    from host.review.digest import Digest
    from host.review.review import Review


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "dataset",
        help="write the runs of a folder as a Parquet dataset that pandas, DuckDB, Spark or Dask read as one table",
        description="Adds the chosen runs to OUT/runs and OUT/passes, in folders rig=…/year=…, numbers in SI units. "
        "Datasets of several rigs or crews can be laid into one folder.",
    )
    parser.add_argument("out", type=Path, metavar="OUT", help="folder of the dataset; made when it is not there")
    add_library_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Write the dataset; 1 when some file could not be read."""
    from host.documents.words import plural
    from host.review.dataset import write_dataset

    entries = chosen_entries(args)
    count = write_dataset(_reviews(chosen_library(args), entries), args.out)
    left_out = [entry.problem for entry in entries if entry.digest is None]
    for sentence in left_out:
        print(f"! {sentence}", file=sys.stderr)
    print(f"{args.out}: {plural(count, 'run')}")
    return 1 if left_out else 0


def _reviews(library: Library, entries: list[Entry]) -> Iterator[tuple[Review, Digest]]:
    for entry in entries:
        if entry.digest is not None:
            yield library.review(entry.path), entry.digest
