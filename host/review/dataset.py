"""Records as tables: a season as CSV without formula injection, runs as a partitioned Parquet dataset."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import fields
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host.calibrate.cards import slug
from host.errors import UserError
from host.review.columns import PASS_COLUMNS
from host.review.digest import Digest
from host.review.review import Review
from host.units import column_name, to_user

if TYPE_CHECKING:
    import pyarrow as pa

# OWASP, "CSV Injection": cells that begin so may be run as formulas by spreadsheets.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def text_cell(text: str) -> str:
    """`text` so that no spreadsheet takes it for a formula: an apostrophe goes before what would begin one."""
    return "'" + text if text.startswith(_FORMULA_STARTS) else text


def season_csv(named: Iterable[tuple[str, Digest]], system: str) -> str:
    """One row per run: name, where, what, how much; units in the column names. Lines end as RFC 4180 says."""
    columns: tuple[tuple[str, str, Callable[[Digest], Any]], ...] = (
        ("duration", "time", lambda one: one.duration_s),
        ("volume", "volume", lambda one: one.volume_m3),
        ("area", "area", lambda one: one.area_m2),
        ("rate", "rate", lambda one: one.rate_m3_m2),
        ("rate_standard_uncertainty", "rate", lambda one: one.rate_u_m3_m2),
        ("target", "rate", lambda one: one.target_m3_m2),
        ("spraying_time", "time", lambda one: one.spraying_s),
        ("off_target_time", "time", lambda one: one.off_target_s),
        ("standing_volume", "volume", lambda one: one.standing_m3),
        ("product_liquid", "product_rate", lambda one: None if one.product_dry else one.product_per_area),
        ("product_dry", "small_mass_per_area", lambda one: one.product_per_area if one.product_dry else None),
    )
    words = ("site", "product", "operator", "weather", "rig")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        [
            "run",
            "started",
            *words,
            *(column_name(name, kind, system) for name, kind, _ in columns),
            "faults",
            "complete",
            "notes",
        ]
    )
    for name, one in named:
        known = {"site": one.site, "product": one.product, "rig": one.rig}
        row: list[object] = [text_cell(name), text_cell(one.started)]
        row += [text_cell(known.get(word, one.notes.get(word, ""))) for word in words]
        for _, kind, value in columns:
            number = value(one)
            row.append("" if number is None else f"{float(to_user(number, kind, system)):.9g}")
        notes = "; ".join(f"{key}: {text}" for key, text in one.notes.items())
        writer.writerow([*row, one.faults, one.complete, text_cell(notes)])
    return out.getvalue()


def write_dataset(reviews: Iterable[tuple[Review, Digest]], folder: Path) -> int:
    """Add runs to a dataset that pandas, DuckDB, Spark or Dask read as one table. Returns the number of runs.

    `folder/passes/rig=…/year=…/RUN.parquet` holds one row per pass, `folder/runs/…` one row per run. All numbers are
    SI with the unit in the column name, whatever units the rig shows, so that rigs can be added up. A run that is
    there already is replaced. Raises UserError when something cannot be written.
    """
    if find_spec("pyarrow") is None:
        raise UserError("Parquet needs the package pyarrow: install swardflow[parquet]")
    count = 0
    for review, digest in reviews:
        year = digest.started[:4] or "unknown"
        place = Path(f"rig={slug(digest.rig)}") / f"year={year}" / f"{review.run.path.stem}.parquet"
        _write(_run_row(review, digest), folder / "runs" / place)
        _write(_pass_rows(review, digest), folder / "passes" / place)
        count += 1
    return count


def _common(review: Review, digest: Digest, rows: int) -> dict[str, pa.Array]:
    import pyarrow as pa

    started = datetime.fromisoformat(digest.started) if digest.started else None
    if started is not None:
        started = (started if started.tzinfo else started.replace(tzinfo=UTC)).astimezone(UTC)
    words = {
        "run": review.run.path.stem,
        "rig_name": digest.rig,
        "site": digest.site,
        "product": digest.product,
    }
    columns = {name: pa.array([text] * rows, pa.string()) for name, text in words.items()}
    return columns | {"started": pa.array([started] * rows, pa.timestamp("us", tz="UTC"))}


def _run_row(review: Review, digest: Digest) -> pa.Table:
    import pyarrow as pa

    numbers = [column.name for column in fields(Digest) if column.name.endswith(("_s", "_m3", "_m2", "_u"))]
    columns = _common(review, digest, 1)
    for name in [*numbers, "variation"]:
        columns[name] = pa.array([getattr(digest, name)], pa.float64())
    columns["passes"] = pa.array([digest.passes], pa.int64())
    columns["faults"] = pa.array([digest.faults], pa.int64())
    columns["complete"] = pa.array([digest.complete], pa.bool_())
    return pa.table(columns)


def _pass_rows(review: Review, digest: Digest) -> pa.Table:
    import pyarrow as pa

    passes = review.passes
    columns = _common(review, digest, len(passes))
    for name in PASS_COLUMNS:
        values = [getattr(one, name) for one in passes]
        whole = name == "number"
        columns["pass" if whole else name] = pa.array(values, pa.int64() if whole else pa.float64())
    columns["variation"] = pa.array([strip.variation for strip in review.strips], pa.float64())
    return pa.table(columns)


def _write(table: pa.Table, path: Path) -> None:
    import pyarrow.parquet as pq

    unfinished = path.with_name(path.name + ".unfinished")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        pq.write_table(table, unfinished)
        unfinished.replace(path)
    except OSError as error:
        raise UserError(f"{path} cannot be written ({error.strerror}): choose another place or make room") from None
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
