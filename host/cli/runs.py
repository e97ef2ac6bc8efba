"""`swardflow runs`: the library, and notes added to a run afterwards."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host.cli.library_options import add_library_arguments, chosen_entries, chosen_library, units_of
from host.run_folder import DEFAULT_FOLDER, find_run, run_name

if TYPE_CHECKING:
    from host.library import Entry


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "runs",
        help="list and search the runs of a folder; add notes to one",
        description="Lists the run files of a folder. Damaged, foreign and empty files are named, each in a sentence.",
    )
    add_library_arguments(parser)
    parser.add_argument(
        "--note",
        nargs=2,
        metavar=("RUN", "KEY=TEXT"),
        help="add a note or correction beside the run file, such as 'tank left=2 gal'; the file itself stays as it is",
    )


def run(args: argparse.Namespace) -> int:
    """Print the list; 1 when some file could not be read in full."""
    import json

    from host.library.library import problems

    if args.note:
        return _note(args)
    entries = chosen_entries(args)
    system = units_of(args, entries)
    if args.json:
        print(json.dumps([entry_json(entry, system) for entry in entries], indent=2, allow_nan=False))
    else:
        print(_table(entries, chosen_library(args).folder, system))
        for sentence in problems(entries):
            print(f"! {sentence}")
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


def _table(entries: list[Entry], folder: Path, system: str) -> str:
    from host.review.text import text_table
    from host.units import UNITS, to_user

    read = [(run_name(entry.path, folder), entry.digest) for entry in entries if entry.digest]
    if not read:
        return "No run to list."

    def show(value: float | None, kind: str) -> str:
        return "–" if value is None else f"{to_user(value, kind, system):.{UNITS[system][kind].decimals}f}"

    header = ["run", "started", "site", "product", "rig", *(f"{k} {UNITS[system][k].symbol}" for k in ("area", "rate"))]
    header.append("faults")
    rows = [
        [
            name,
            one.started[:16].replace("T", " "),
            one.site,
            one.product,
            one.rig,
            show(one.area_m2, "area"),
            show(one.rate_m3_m2, "rate"),
            str(one.faults or ""),
            "" if one.complete else "NOT COMPLETE",
        ]
        for name, one in read
    ]
    return text_table([*header, ""], rows)


def entry_json(entry: Entry, system: str) -> dict[str, Any]:
    """One entry for machines."""
    from host.units import column_name, to_user

    out: dict[str, Any] = {"run": str(entry.path), "bytes": entry.size, "problem": entry.problem or None}
    one = entry.digest
    if one is None:
        return out

    def put(name: str, kind: str, value: float | None) -> None:
        out[column_name(name, kind, system)] = None if value is None else to_user(value, kind, system)

    out |= {"started": one.started or None, "site": one.site, "product": one.product, "rig": one.rig}
    out |= {"complete": one.complete, "passes": one.passes, "duration_s": one.duration_s, "notes": one.notes}
    put("volume", "volume", one.volume_m3)
    put("area", "area", one.area_m2)
    put("rate", "rate", one.rate_m3_m2)
    put("rate_standard_uncertainty", "rate", one.rate_u_m3_m2)
    put("standing_volume", "volume", one.standing_m3)
    out["variation_percent"] = None if one.variation is None else 100 * one.variation
    out["off_target_s"] = one.off_target_s
    out["faults"] = one.faults
    kind = "small_mass_per_area" if one.product_dry else "product_rate"
    put("product_per_area", kind, one.product_per_area)
    out["over_label_limit"] = one.over_limit
    return out
