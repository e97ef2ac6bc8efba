"""Tables of a dataset as Parquet: one file for each table and month, units and meanings with every column."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from host.errors import DamagedFileError, NotInstalledError, visible
from host.library.dataset_store import Store
from host.review.dataset_rows import TABLES
from host.review.fields import KEY_FIELDS, Field
from host.review.rows import Row, field_values

if TYPE_CHECKING:
    import pyarrow as pa

UNKNOWN_MONTH = "unknown"
_KEYS = {field.name for field in KEY_FIELDS}


def need_pyarrow() -> None:
    """Raise UserError where it is not installed."""
    from importlib.util import find_spec

    if find_spec("pyarrow") is None:
        raise NotInstalledError("a dataset needs the package pyarrow: install swardflow[parquet]")


def month_of(row: Row) -> str:
    """The month of a run, in UTC, which says in what file its rows are."""
    started = row["started_utc"]
    return f"{started:%Y-%m}" if started is not None else UNKNOWN_MONTH


def schema_of(fields: Sequence[Field]) -> pa.Schema:
    """The Arrow schema of a table."""
    import pyarrow as pa

    types = {
        "string": pa.string(),
        "number": pa.float64(),
        "integer": pa.int64(),
        "boolean": pa.bool_(),
        "datetime": pa.timestamp("us", tz="UTC"),
    }
    return pa.schema(
        [pa.field(f.name, types[f.type], metadata={"unit": f.unit, "description": f.meaning}) for f in fields]
    )


def table_of(name: str, rows: Sequence[Row]) -> pa.Table:
    """Rows of a table of TABLES."""
    import pyarrow as pa

    fields = TABLES[name]
    schema = schema_of(fields)
    columns = [pa.array(map(_clean, field_values(rows, field)), schema.field(field.name).type) for field in fields]
    return pa.Table.from_arrays(columns, schema=schema)


def _clean(value: Any) -> Any:
    """Half characters, which a damaged file may hold, are no text for Arrow."""
    return visible(value) if isinstance(value, str) and not value.isprintable() else value


def read_part(store: Store, name: str, month: str, columns: Sequence[str] | None = None) -> pa.Table | None:
    """What a table has of a month; None where there is nothing. Raises DamagedFileError for what is no such table."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    data = store.read(part_name(name, month))
    if data is None:
        return None
    try:
        # Not pq.read_table: that loads pyarrow.dataset and pandas, which takes longer than all files of a year.
        with pq.ParquetFile(io.BytesIO(data)) as part:
            table = part.read(columns=list(columns) if columns else None)
        return table if columns else _with_all_columns(table, schema_of(TABLES[name]))
    except (pa.ArrowException, OSError, KeyError, ValueError):
        raise DamagedFileError(
            f"{store.place}/{part_name(name, month)} cannot be read: delete the dataset and write it again"
        ) from None


def _with_all_columns(table: pa.Table, schema: pa.Schema) -> pa.Table:
    """`table` as `schema` has it; a column that came in since it was written is empty. Raises ValueError for others."""
    import pyarrow as pa

    for field in schema:
        if field.name not in table.column_names and field.name not in _KEYS:
            table = table.append_column(field, pa.nulls(len(table), field.type))
    return table.select(schema.names).cast(schema) if len(schema) == table.num_columns else table.cast(schema)


def write_part(store: Store, name: str, month: str, table: pa.Table) -> None:
    """Put what a table has of a month in its place; a month with nothing in it has no file."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not len(table):
        store.delete(part_name(name, month))
        return
    order = [(key, "ascending") for key in ("started_utc", "run_id", *_WITHIN[name])]
    out = pa.BufferOutputStream()
    pq.write_table(table.sort_by(order), out, compression="zstd")
    store.write(part_name(name, month), out.getvalue().to_pybytes())


_WITHIN: Mapping[str, Iterable[str]] = {
    "runs": (),
    "passes": ("pass",),
    "faults": ("fault",),
    "events": ("at_s", "kind", "detail"),
}


def part_name(name: str, month: str) -> str:
    """Name of a file of the dataset."""
    return f"{name}/{month}.parquet"
