"""A run as a table for other programs, which says what it is: CSV, Parquet or a spreadsheet."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import IO, Any

from host.errors import BadInputError, NotSavedError
from host.journal import read_run
from host.pipeline import Settled, Signals
from host.review.about import about_run
from host.review.calibration_choice import RECORDED, Under
from host.review.datapackage import ENDING, json_bytes, package, table_schema
from host.review.export_files import CsvFile, ParquetFile, TableFile, XlsxFile
from host.review.fields import Field, signal_fields
from host.review.review import Review, review_of
from host.review.run_table import SettledTable
from host.whole_file import write_whole

Progress = Callable[[int, int], None]
FORMATS: dict[str, type[TableFile]] = {".csv": CsvFile, ".parquet": ParquetFile, ".xlsx": XlsxFile}


def export_run(
    run_path: Path,
    out: Path,
    *,
    system: str = "",
    under: Under = RECORDED,
    later_notes: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> int:
    """Write all signals of the run to `out`, whose ending (.csv, .parquet or .xlsx) chooses the format.

    Units are those of the rig unless `system` says "us", "metric" or "si". The table says what it is: in its own
    metadata, on sheets of its own, or for CSV in NAME.datapackage.json beside it. `progress(done, all)` is called with
    frames. Returns the number of rows. A file appears under its name only when it is whole.
    Raises UserError for an unknown ending, a file that exists, or one that cannot be written.
    """
    opener = FORMATS.get(out.suffix.lower())
    if opener is None:
        raise BadInputError(f"{out} has no known ending: name the file *.csv, *.parquet or *.xlsx")
    beside = out.with_name(out.stem + ENDING) if opener is CsvFile else None
    for path in (out, beside):
        if path is not None and path.exists():
            raise NotSavedError(f"{path} exists already and is not overwritten: move it away or give another name")
    unfinished = out.with_name(out.name + ".unfinished")
    try:
        with unfinished.open("xb") as file:
            rows, review, fields = _write(run_path, opener(file), system, under, later_notes, progress)
        if beside is not None:
            write_whole(beside, json_bytes(_csv_package(out, fields, about_run(review))))
        unfinished.rename(out)
    except OSError as error:
        raise NotSavedError(f"{out} cannot be written ({error.strerror}): choose another place or make room") from None
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
    return rows


def export_csv(
    run_path: Path,
    file: IO[bytes],
    *,
    system: str = "",
    under: Under = RECORDED,
    later_notes: Mapping[str, str] | None = None,
) -> int:
    """Write all signals of the run as CSV into an open file, such as a pipe. Returns the number of rows.

    Raises UserError for a run that cannot be read.
    """
    return _write(run_path, CsvFile(file), system, under, later_notes, None)[0]


def _write(
    run_path: Path,
    writer: TableFile,
    system: str,
    under: Under,
    later_notes: Mapping[str, str] | None,
    progress: Progress | None,
) -> tuple[int, Review, tuple[Field, ...]]:
    run = read_run(run_path)
    rig, cards = under.read(run)
    system = system or rig.units
    fields = signal_fields(system)
    writer.begin(fields)
    table = SettledTable(system, run.started)
    rows = 0

    def each(part: Signals | Settled) -> None:
        nonlocal rows
        if isinstance(part, Signals):
            table.push(part)
            return
        if len(part) or not rows:
            writer.write(table.settle(part))
        rows += len(part)
        if progress:
            progress(rows, len(run.frames))

    review = review_of(run, rig, cards=cards, later_notes=later_notes, each=each)
    writer.end(review)
    return rows, review, fields


def _csv_package(out: Path, fields: tuple[Field, ...], about: dict[str, Any]) -> dict[str, Any]:
    name = re.sub(r"[^a-z0-9._-]+", "-", out.stem.lower()).strip("-._") or "run"
    resource = {
        "name": name,
        "path": out.name,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": table_schema(fields),
    }
    return package(name, f"Signals of the run {about['run']}", [resource], about)
