"""`swardflow season`: the runs of one rig against each other."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host.cli.library_options import add_library_arguments, chosen_entries, chosen_library, units_of

if TYPE_CHECKING:
    from host.review.season import Season, Series


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "season",
        help="what changed over a season: nozzles, meter, strainer, and when to calibrate",
        description="Compares the runs of the newest run's rig (choose others with --rig-name). Unchanged files are "
        "not read again. Note what is left in the tank after each run ('tank left'), so that a meter that drifts can "
        "be told from nozzles that wear.",
    )
    add_library_arguments(parser)
    parser.add_argument("--report", type=Path, help="write the record of the season as one HTML page to print or keep")
    parser.add_argument("--csv", type=Path, help="write one row per run for a spreadsheet")


def run(args: argparse.Namespace) -> int:
    """Print what was found; 1 when something was."""
    import json
    from datetime import datetime

    from host.cli.output_file import write_new
    from host.review.dataset import season_csv
    from host.review.report import season_report
    from host.review.season import season_of
    from host.run_folder import run_name

    entries = chosen_entries(args)
    season = season_of([entry.digest for entry in entries if entry.digest])
    system = units_of(args, entries)
    folder = chosen_library(args).folder
    made = [(run_name(entry.path, folder), entry.digest) for entry in entries if entry.digest]
    if args.csv:
        write_new(args.csv, season_csv(made, system))
    if args.report:
        mine = [one for _, one in made if one.rig == season.rig]
        write_new(args.report, season_report(season, mine, system, datetime.now()))
    if args.json:
        print(json.dumps(season_json(season, system), indent=2, allow_nan=False))
    else:
        print("\n".join(season_lines(season)))
    return 1 if season.findings else 0


def season_lines(season: Season) -> list[str]:
    """The season as lines of text."""
    from host.review.season import counted

    dates = season.coefficient.dates
    span = f", {dates[0]} to {dates[-1]}" if dates else ""
    lines = [f"{counted(season.runs)} of {season.rig or 'no rig'}{span}"]
    lines += [f"  {one.kind}: {one.sentence}" for one in season.findings] or ["  nothing that this data can show"]
    lines.append(f"Calibration due: {season.due}")
    return lines + [f"  {remark}" for remark in season.remarks]


def season_json(season: Season, system: str) -> dict[str, Any]:
    """The season for machines."""
    from host.units import column_name, to_user

    def series(one: Series, name: str, kind: str) -> list[dict[str, Any]]:
        key = column_name(name, kind, system) if kind else name
        values = [to_user(value, kind, system) if kind else value for value in one.values.tolist()]
        return [{"date": day, key: value} for day, value in zip(one.dates, values, strict=True)]

    return {
        "rig": season.rig,
        "runs": season.runs,
        "findings": [
            {
                "kind": one.kind,
                "first_day": one.first_day,
                "last_day": one.last_day,
                "change_percent": 100 * one.change,
                "change_standard_uncertainty_percent": 100 * one.change_u,
                "sentence": one.sentence,
            }
            for one in season.findings
        ],
        "due": season.due,
        "remarks": list(season.remarks),
        "coefficient": series(season.coefficient, "orifice_coefficient", "orifice_coefficient"),
        "pressure": series(season.pressure, "pressure", "pressure"),
        "meter_over_tank": series(season.balance, "meter_over_tank", ""),
    }
