"""Runs for people who work in Python: a run as pandas tables, and as a review."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host.errors import BadInputError
from host.journal import RunFile, read_run
from host.library.copies import best_copies
from host.library.later_notes import read_notes
from host.pipeline import Settled, Signals
from host.review.about import about_run
from host.review.calibration_choice import RECORDED, Under
from host.review.export_files import attributes
from host.review.fields import EVENT_FIELDS, FAULT_FIELDS, PASS_FIELDS, SI, Field, signal_fields
from host.review.review import Review, review_of
from host.review.rows import Row, event_rows, fault_rows, field_values, pass_rows
from host.review.run_table import TIME, SettledTable
from host.run_folder import DEFAULT_FOLDER, find_run, list_runs

if TYPE_CHECKING:
    import pandas as pd

SYSTEMS = (SI, "us", "metric")
_DTYPES = {"integer": "Int64", "number": "float64", "boolean": "boolean", "string": "string"}


class Run:
    """One run. The file is read when something of it is asked for, and once.

    Tables are pandas DataFrames in SI units, with the unit in each column's name and in `attrs["units"]`; what the
    columns mean is in `attrs["descriptions"]`. Times are UTC. Everything raises UserError for a file that is no run.
    """

    def __init__(self, path: Path, under: Under = RECORDED) -> None:
        self.path, self._under = path, under

    def __repr__(self) -> str:
        return f"Run({str(self.path)!r})"

    @property
    def name(self) -> str:
        """The file's name without its ending."""
        return self.path.stem

    def frame(self, units: str = SI) -> pd.DataFrame:
        """All signals, one row for each report of the board, by its time in UTC.

        `units` are "si", "us", "metric", or "rig" for those of the rig. Where the run does not know when it began, the
        index is the time since its start.
        """
        rig, cards = self._under.read(self.file)
        system = rig.units if units == "rig" else units
        if system not in SYSTEMS:
            raise BadInputError(f'units are "{units}": give "si", "us", "metric" or "rig"')
        table = SettledTable(system, self.file.started)
        pieces = []

        def each(part: Signals | Settled) -> None:
            if isinstance(part, Signals):
                table.push(part)
            else:
                pieces.append(table.settle(part))

        review_of(self.file, rig, cards=cards, watch_faults=False, each=each)
        return _indexed(pieces, signal_fields(system))

    @property
    def passes(self) -> pd.DataFrame:
        """One row a pass."""
        return _table(pass_rows(self.review()), PASS_FIELDS)

    @property
    def faults(self) -> pd.DataFrame:
        """One row a fault."""
        return _table(fault_rows(self.review()), FAULT_FIELDS)

    @property
    def events(self) -> pd.DataFrame:
        """One row an event or note: marks, refills, lost links."""
        return _table(event_rows(self.review()), EVENT_FIELDS)

    @property
    def about(self) -> dict[str, Any]:
        """What exports say of the run: rig, calibrations, versions, target, notes, totals, and the tables above."""
        return about_run(self.review())

    def review(self) -> Review:
        """The run as 'swardflow review' sees it, with its faults."""
        return self._review

    @cached_property
    def file(self) -> RunFile:
        """What the run file holds."""
        return read_run(self.path)

    @cached_property
    def _review(self) -> Review:
        rig, cards = self._under.read(self.file)
        return review_of(self.file, rig, cards=cards, later_notes=read_notes(self.path))


class Runs(Sequence[Run]):
    """The runs of a folder and of the folders in it, by name; none is read before it is asked for something.

    Tables of all runs have a copy of a run once, as lists and datasets do.
    """

    def __init__(self, folder: Path, under: Under = RECORDED) -> None:
        found, unread = list_runs(folder)
        self._runs = [Run(file.path, under) for file in sorted(found, key=lambda file: file.relative)]
        self.unread: tuple[str, ...] = tuple(message for _, message in unread)

    def __len__(self) -> int:
        return len(self._runs)

    def __getitem__(self, index: Any) -> Any:
        return self._runs[index]

    def __iter__(self) -> Iterator[Run]:
        return iter(self._runs)

    def passes(self) -> pd.DataFrame:
        """The passes of all runs in one table, with the column `run`. Raises UserError for a file that is no run."""
        return self._all(PASS_FIELDS, pass_rows)

    def faults(self) -> pd.DataFrame:
        """The faults of all runs in one table, with the column `run`. Raises UserError for a file that is no run."""
        return self._all(FAULT_FIELDS, fault_rows)

    def _all(self, fields: tuple[Field, ...], rows_of: Any) -> pd.DataFrame:
        best = best_copies(
            self._runs, lambda run: run.file.identity, lambda run: run.file.complete, lambda run: len(run.file.frames)
        )
        rows = [{"run": run.name} | row for run in best.values() for row in rows_of(run.review())]
        return _table(rows, (Field("run", "string", "", "name of the run"), *fields))


def open_run(run: str | Path = "latest", *, folder: str | Path = DEFAULT_FOLDER, under: Under = RECORDED) -> Run:
    """One run: a path, a name in `folder`, or "latest". Raises UserError when there is none."""
    return Run(find_run(str(run), Path(folder)), under)


def open_runs(folder: str | Path = DEFAULT_FOLDER, *, under: Under = RECORDED) -> Runs:
    """All runs of a folder. Raises UserError when it cannot be listed."""
    return Runs(Path(folder), under)


def _indexed(pieces: list[pd.DataFrame], fields: Sequence[Field]) -> pd.DataFrame:
    import pandas as pd

    whole = pd.concat([piece for piece in pieces if len(piece)] or pieces[:1], ignore_index=True)
    frame = whole.set_index(TIME)
    if frame.index.hasnans:
        frame.index = pd.to_timedelta(frame["host_time_s"].to_numpy(), unit="s").rename("time_since_start")
    frame.attrs.update(attributes([field for field in fields if field.name != TIME]))
    return frame


def _table(rows: Sequence[Row], fields: Sequence[Field]) -> pd.DataFrame:
    import pandas as pd

    columns = {}
    for field in fields:
        values = field_values(rows, field)
        if field.type == "datetime":
            columns[field.name] = pd.Series(pd.to_datetime(values, utc=True))
        else:
            columns[field.name] = pd.Series(values, dtype=_DTYPES[field.type])
    frame = pd.DataFrame(columns)
    frame.attrs.update(attributes(fields))
    return frame
