"""Runs as a partitioned Parquet dataset."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import fields
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from host.calibrate.cards import slug
from host.errors import NotSavedError, UserError
from host.review.columns import PASS_COLUMNS
from host.review.digest import Digest
from host.review.review import Review

if TYPE_CHECKING:
    import pyarrow as pa


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
        raise NotSavedError(f"{path} cannot be written ({error.strerror}): choose another place or make room") from None
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
