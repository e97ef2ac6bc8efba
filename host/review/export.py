"""Signals of a run as a table for other programs: CSV or Parquet, units in the column names."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, suppress
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Protocol

from host.errors import UserError
from host.journal import read_run
from host.pipeline import Pipeline, Signals
from host.review.calibration_choice import RECORDED, Under
from host.review.columns import SIGNAL_COLUMNS
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
        raise UserError(f"{out} has no known ending: name the file *.csv or *.parquet")
    if out.exists():
        raise UserError(f"{out} exists already and is not overwritten: move it away or give another name")
    run = read_run(run_path)
    pipeline = Pipeline(under.read(run)[0], watch_faults=False)
    unfinished = out.with_name(out.name + ".unfinished")
    rows = 0
    try:
        with opener(unfinished) as writer:
            for signals in signals_of(run, pipeline):
                writer.write(frame_of(signals, system or pipeline.rig.units))
                rows += len(signals)
                if progress:
                    progress(rows, len(run.frames))
        unfinished.rename(out)
    except OSError as error:
        raise UserError(f"{out} cannot be written ({error.strerror}): choose another place or make room") from None
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
    return rows


def frame_of(signals: Signals, system: str) -> pd.DataFrame:
    """`signals` as a pandas table in `system` units, one row per frame."""
    import pandas as pd

    columns = {}
    for field, (name, kind) in SIGNAL_COLUMNS.items():
        values = getattr(signals, field)
        columns[column_name(name, kind, system) if kind else name] = to_user(values, kind, system) if kind else values
    return pd.DataFrame(columns)


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
