"""Signals of a run as a table for other programs: CSV or Parquet, units in the column names."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, suppress
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Protocol

from host.errors import BadInputError, NotSavedError, UserError
from host.journal import read_run
from host.pipeline import Pipeline, Settled, Signals
from host.pipeline.carry import RunningSum
from host.review.calibration_choice import RECORDED, Under
from host.review.columns import SETTLED_COLUMNS, SIGNAL_COLUMNS
from host.review.review import signals_of
from host.units import column_name, to_user

if TYPE_CHECKING:
    import pandas as pd

Progress = Callable[[int, int], None]


class TableWriter(Protocol):
    """Takes a table in pieces."""

    def write(self, piece: pd.DataFrame) -> None:
        """Append `piece`."""


def export_run(
    run_path: Path, out: Path, *, system: str = "", under: Under = RECORDED, progress: Progress | None = None
) -> int:
    """Write all signals of the run to `out`, whose ending (.csv or .parquet) chooses the format.

    Units are those of the rig unless `system` says "us" or "metric". `progress(done, all)` is called with frames.
    Returns the number of rows. The file appears under its name only when it is whole.
    Raises UserError for an unknown ending, a file that exists, or one that cannot be written.
    """
    opener = FORMATS.get(out.suffix.lower())
    if opener is None:
        raise BadInputError(f"{out} has no known ending: name the file *.csv or *.parquet")
    if out.exists():
        raise NotSavedError(f"{out} exists already and is not overwritten: move it away or give another name")
    run = read_run(run_path)
    pipeline = Pipeline(under.read(run)[0], watch_faults=False)
    unfinished = out.with_name(out.name + ".unfinished")
    rows = 0
    try:
        with opener(unfinished) as writer:
            table = SettledTable(system or pipeline.rig.units)
            for signals in signals_of(run, pipeline):
                table.push(signals)
                rows += len(signals)
                if len(ready := table.settle(pipeline.take_settled())):
                    writer.write(ready)
                if progress:
                    progress(rows, len(run.frames))
            writer.write(table.settle(pipeline.take_settled()))
        unfinished.rename(out)
    except OSError as error:
        raise NotSavedError(f"{out} cannot be written ({error.strerror}): choose another place or make room") from None
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
    return rows


class SettledTable:
    """Signals as they come and their settled rows, which come later, as one table in `system` units."""

    def __init__(self, system: str) -> None:
        self._system = system
        self._waiting: list[pd.DataFrame] = []
        self._sums = {field: RunningSum() for field, (_, _, total) in SETTLED_COLUMNS.items() if total}

    def push(self, signals: Signals) -> None:
        """Take the next signals."""
        import pandas as pd

        fields = {self._named(name, kind): (field, kind) for field, (name, kind) in SIGNAL_COLUMNS.items()}
        columns = {name: self._shown(getattr(signals, field), kind) for name, (field, kind) in fields.items()}
        self._waiting.append(pd.DataFrame(columns))

    def settle(self, settled: Settled) -> pd.DataFrame:
        """The rows that are settled now, one for each of `settled`."""
        import pandas as pd

        waiting = pd.concat(self._waiting, ignore_index=True)
        ready, rest = waiting.iloc[: len(settled)], waiting.iloc[len(settled) :]
        self._waiting = [rest]
        columns = {}
        for field, (name, kind, total) in SETTLED_COLUMNS.items():
            values = getattr(settled, field)
            columns[self._named(name, kind)] = self._shown(values if total else values.astype(int), kind)
            if total:
                columns[self._named(total, kind)] = self._shown(self._sums[field](values), kind)
        return pd.concat([ready.reset_index(drop=True), pd.DataFrame(columns)], axis="columns")

    def _named(self, name: str, kind: str) -> str:
        return column_name(name, kind, self._system) if kind else name

    def _shown(self, values: Any, kind: str) -> Any:
        return to_user(values, kind, self._system) if kind else values


class CsvFile(AbstractContextManager["CsvFile"]):
    """Comma-separated, UTF-8, one header line; an empty cell where a quantity is not defined."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("w", encoding="utf-8", newline="")
        self._started = False

    def write(self, piece: pd.DataFrame) -> None:
        """Append `piece`; nine digits are finer than any sensor here."""
        piece.to_csv(self._file, index=False, header=not self._started, float_format="%.9g", lineterminator="\n")
        self._started = True

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._file.close()


class ParquetFile(AbstractContextManager["ParquetFile"]):
    """Apache Parquet, one row group per piece."""

    def __init__(self, path: Path) -> None:
        try:
            import pyarrow  # noqa: F401
        except ImportError:
            raise UserError(
                "Parquet needs the package pyarrow: install swardflow[parquet], or export to .csv"
            ) from None
        self._path = path
        self._writer: object = None

    def write(self, piece: pd.DataFrame) -> None:
        """Append `piece`."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        table = pa.Table.from_pandas(piece, preserve_index=False)
        if self._writer is None:
            self._writer = pq.ParquetWriter(self._path, table.schema)
        self._writer.write_table(table)  # type: ignore[attr-defined]

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._writer is not None:
            self._writer.close()  # type: ignore[attr-defined]


FORMATS: dict[str, type[CsvFile] | type[ParquetFile]] = {".csv": CsvFile, ".parquet": ParquetFile}
