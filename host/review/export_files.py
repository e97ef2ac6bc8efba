"""The formats of an export, each of which says what its columns mean and which run they are of."""

from __future__ import annotations

import io
import json
import math
from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from host.errors import NotInstalledError, TooLargeError, visible
from host.review.about import about_run
from host.review.datapackage import json_bytes
from host.review.fields import EVENT_FIELDS, FAULT_FIELDS, PASS_FIELDS, Field
from host.review.review import Review
from host.review.rows import Row, event_rows, fault_rows, field_values, pass_rows
from host.review.run_table import TIME

if TYPE_CHECKING:
    import pandas as pd

MOST_SHEET_ROWS = 1_048_576  # of a spreadsheet of this format: ECMA-376, as its programs keep to it


class TableFile(ABC):
    """Takes a table in pieces, and at the end what is known of the run."""

    @abstractmethod
    def __init__(self, file: IO[bytes]) -> None: ...

    @abstractmethod
    def begin(self, fields: Sequence[Field]) -> None:
        """The columns, in their order."""

    @abstractmethod
    def write(self, piece: pd.DataFrame) -> None:
        """Append `piece`."""

    @abstractmethod
    def end(self, review: Review) -> None:
        """Nothing more comes; the file is left open."""


class CsvFile(TableFile):
    """Comma-separated, UTF-8, one header line; an empty cell where a quantity is not defined."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = io.TextIOWrapper(file, encoding="utf-8", newline="", write_through=True)
        self._header = True

    def begin(self, fields: Sequence[Field]) -> None:
        """The header comes with the first piece."""

    def write(self, piece: pd.DataFrame) -> None:
        """Append `piece`; nine digits are finer than any sensor here."""
        moments = piece[TIME].dt.tz_localize(None).to_numpy("datetime64[us]")
        times = np.where(np.isnat(moments), "", np.datetime_as_string(moments, unit="us", timezone="UTC"))
        piece.assign(**{TIME: times}).to_csv(
            self._file, index=False, header=self._header, float_format="%.9g", lineterminator="\n"
        )
        self._header = False

    def end(self, review: Review) -> None:
        """A CSV file says nothing more; NAME.datapackage.json beside it does."""
        self._file.flush()
        self._file.detach()


class ParquetFile(TableFile):
    """Apache Parquet, one row group a piece; `unit` and `description` with each field.

    The file's metadata has `swardflow` (JSON of `host.review.about`), and the units where pandas looks for `attrs`.
    """

    def __init__(self, file: IO[bytes]) -> None:
        try:
            import pyarrow.parquet  # noqa: F401
        except ImportError:
            raise NotInstalledError(
                "Parquet needs the package pyarrow: install swardflow[parquet], or export to .csv"
            ) from None
        self._file = file
        self._fields: Sequence[Field] = ()
        self._writer: Any = None

    def begin(self, fields: Sequence[Field]) -> None:
        """The columns, in their order."""
        self._fields = fields

    def write(self, piece: pd.DataFrame) -> None:
        """Append `piece`."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        table = pa.Table.from_pandas(piece, preserve_index=False)
        if self._writer is None:
            schema = pa.schema(
                [
                    table.schema.field(field.name).with_metadata({"unit": field.unit, "description": field.meaning})
                    for field in self._fields
                ],
                metadata={**table.schema.metadata, "PANDAS_ATTRS": json.dumps(attributes(self._fields))},
            )
            self._writer = pq.ParquetWriter(self._file, schema)
        self._writer.write_table(table.cast(self._writer.schema))

    def end(self, review: Review) -> None:
        """Write what is known of the run."""
        self._writer.add_key_value_metadata({"swardflow": json_bytes(about_run(review))})
        self._writer.close()


class XlsxFile(TableFile):
    """A spreadsheet: signals, what the columns mean, passes, faults, events, and the run. No cell is a formula."""

    def __init__(self, file: IO[bytes]) -> None:
        try:
            from openpyxl import Workbook
            from openpyxl.cell import WriteOnlyCell
        except ImportError:
            raise NotInstalledError(
                "a spreadsheet needs the package openpyxl: install swardflow[xlsx], or export to .csv"
            ) from None
        self._file = file
        self._book, self._text_cell = Workbook(write_only=True), WriteOnlyCell
        self._signals = self._book.create_sheet("signals")
        self._fields: Sequence[Field] = ()
        self._rows = 1

    def begin(self, fields: Sequence[Field]) -> None:
        """Write the header."""
        self._fields = fields
        self._append(self._signals, [field.name for field in fields])

    def write(self, piece: pd.DataFrame) -> None:
        """Append `piece`. Raises UserError when there are more rows than a sheet holds."""
        self._rows += len(piece)
        if self._rows > MOST_SHEET_ROWS:
            raise TooLargeError(
                f"a sheet holds {MOST_SHEET_ROWS:,} rows, and this run has more: export it to .csv or .parquet"
            )
        moments = piece[TIME].dt.tz_localize(None)  # this format has no time zones
        shown = piece.assign(**{TIME: moments.astype(object).where(moments.notna(), None)})
        for row in shown.itertuples(index=False):
            self._append(self._signals, row)

    def end(self, review: Review) -> None:
        """Write the other sheets."""
        self._table("columns", _COLUMN_FIELDS, [vars(field) for field in self._fields])
        self._table("passes", PASS_FIELDS, pass_rows(review))
        self._table("faults", FAULT_FIELDS, fault_rows(review))
        self._table("events", EVENT_FIELDS, event_rows(review))
        facts = self._book.create_sheet("run")
        for key, value in _flat(about_run(review)):
            self._append(facts, (key, value))
        self._book.save(self._file)

    def _table(self, name: str, fields: Sequence[Field], rows: Sequence[Row]) -> None:
        sheet = self._book.create_sheet(name)
        self._append(sheet, [field.name for field in fields])
        for row in zip(*(field_values(rows, field) for field in fields), strict=True):
            self._append(sheet, row)

    def _append(self, sheet: Any, values: Iterable[Any]) -> None:
        sheet.append([value if type(value) in _AS_THEY_ARE else self._cell(sheet, value) for value in values])

    def _cell(self, sheet: Any, value: Any) -> Any:
        """A cell; a text is marked as one, so that a spreadsheet never runs it."""
        if isinstance(value, str):
            cell = self._text_cell(sheet, visible(value))
            cell.data_type = "s"
            return cell
        if isinstance(value, float):
            return value if math.isfinite(value) else None
        return value.replace(tzinfo=None) if isinstance(value, datetime) else value


_AS_THEY_ARE = (int, bool, type(None))
_COLUMN_FIELDS = tuple(Field(name, "string", "", "") for name in ("name", "type", "unit", "meaning"))


def attributes(fields: Sequence[Field]) -> dict[str, dict[str, str]]:
    """Units and meanings by column, for the `attrs` of a DataFrame."""
    return {
        "units": {field.name: field.unit for field in fields if field.unit},
        "descriptions": {field.name: field.meaning for field in fields},
    }


def _flat(about: dict[str, Any], above: str = "") -> Iterable[tuple[str, Any]]:
    """What is known of the run as pairs; its lists have sheets of their own."""
    for key, value in about.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{above}{key}.")
        elif not isinstance(value, list):
            yield f"{above}{key}", value
        elif key == "calibrations":
            yield from ((f"calibrations.{card['kind']}", card["made"]) for card in value)
