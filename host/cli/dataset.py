"""`swardflow dataset`: runs of many rigs as one Parquet dataset, kept up to date."""

from __future__ import annotations

import argparse
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from host.cli.library_options import add_library_arguments, chosen_entries
from host.cli.shared_options import add_json_argument, print_answer
from host.log import LOG, counter
from host.run_folder import DEFAULT_FOLDER

_FILTERS = ("site", "product", "rig_name", "find", "first_day", "last_day")


DESCRIPTION = (
    "Brings a dataset up to date with the runs: tables runs, passes, faults and events in SI units, a "
    "file for each table and month, described in datapackage.json. Only new and changed runs are read; those "
    "whose files are gone leave. Several rigs or crews can have one dataset. "
    "DATASET.md has the columns and questions to ask."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument(
        "--out",
        required=True,
        metavar="FOLDER",
        help="folder of the dataset, or the URL of an object store such as s3://bucket/season",
    )
    add_library_arguments(parser, units=False)
    parser.add_argument("--signals", action="store_true", help="keep every signal, too: a file for each run")
    parser.add_argument(
        "--on",
        metavar="ADDRESS",
        help="share the work over a Dask cluster, such as tcp://office:8786 (default: the processors of this computer)",
    )
    add_json_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Write the dataset; 1 when some file could not be read."""
    from host.cli.calibration_options import under_of
    from host.documents.words import plural
    from host.library.dataset import Reading, update_dataset
    from host.library.dataset_store import store_at

    options: dict[str, Any] = {}
    if any(getattr(args, name) for name in _FILTERS):
        options["chosen"] = frozenset(entry.path for entry in chosen_entries(args))
    with ExitStack() as stack:
        if args.on:
            from host.library.cluster import over_cluster

            options["spread_over"] = stack.enter_context(over_cluster(args.on))
        done = update_dataset(
            Path(args.runs or DEFAULT_FOLDER),
            store_at(args.out),
            reading=Reading(under_of(args), args.signals),
            progress=counter("new or changed runs read"),
            **options,
        )
    for sentence in done.problems:
        LOG.warning("! %s", sentence)
    what = {"dataset": args.out, "runs": done.runs, "read": done.read, "gone": done.gone, "left_out": done.problems}
    print_answer(args, f"{args.out}: {plural(done.runs, 'run')}, {done.read} new or changed, {done.gone} gone", what)
    return 1 if done.problems else 0
