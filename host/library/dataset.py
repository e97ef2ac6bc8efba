"""Runs of a folder kept as a dataset: what has changed is read, the rest is left as it is.

A run is in the dataset when its row is in `runs`, which is written after its rows of the other tables; rows of others
are dropped whenever a month is written. So an update that was cut off is put right by the next one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from host.errors import BadInputError, UserError
from host.journal import read_run
from host.library.dataset_store import Store
from host.library.dataset_tables import (
    month_of,
    need_pyarrow,
    part_name,
    read_part,
    schema_of,
    table_of,
    write_part,
)
from host.library.later_notes import read_notes
from host.library.worker_pool import LARGEST_BYTES, spread
from host.review.calibration_choice import RECORDED, Under
from host.review.datapackage import json_bytes, package, table_schema
from host.review.dataset_rows import DATASET_FORMAT, PRIMARY_KEYS, TABLES, dataset_rows
from host.review.digest import DIGEST_FORMAT
from host.review.fields import KEY_FIELDS, signal_fields
from host.review.review import review_of
from host.review.rows import Row
from host.run_folder import RunPath, list_runs

DESCRIPTOR = "datapackage.json"
SIGNALS = "signals"
BATCH_RUNS = 500  # worked out between two writes: what is lost when an update is cut off, and what memory holds

Progress = Callable[[int, int], None]
Rows = dict[str, list[Row]]


@dataclass(frozen=True)
class Task:
    """A run file to be worked out."""

    path: Path
    file: str  # within the folder
    size: int
    source: str
    stamp: str


@dataclass(frozen=True)
class Done:
    """What came of it: rows, or a message why there are none."""

    task: Task
    rows: Rows | None
    signals: bytes | None
    problem: str


@dataclass(frozen=True)
class Updated:
    """What an update did, in runs."""

    runs: int
    read: int
    gone: int
    problems: tuple[str, ...]


@dataclass(frozen=True)
class Reading:
    """What runs are read under, and whether every signal is kept, too, a file for each run."""

    under: Under = RECORDED
    signals: bool = False


RECORDED_READING = Reading()
Spread = Callable[[Callable[[Task], Done], Sequence[Task]], Iterable[Done]]


def update_dataset(
    folder: Path,
    store: Store,
    *,
    reading: Reading = RECORDED_READING,
    chosen: frozenset[Path] | None = None,
    spread_over: Spread = spread,
    progress: Progress | None = None,
) -> Updated:
    """Bring the dataset at `store` up to date with the runs in `folder`.

    Only files that are new or have changed are read, `chosen` ones alone when it is given. Runs of this folder whose
    files are gone leave, and so does a run that another file of the same recording replaces. `spread_over` works
    tasks out, in any order; `progress` gets (done, all).
    Raises UserError when the folder cannot be listed or the dataset cannot be used.
    """
    need_pyarrow()
    dataset = _Dataset(store)
    source = hashlib.sha256(str(folder.expanduser().resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:12]
    found, unread = list_runs(folder)
    way = f"{reading.under.key} {'signals' if reading.signals else ''}".strip()
    tasks = {file.relative: _task(file, source, way) for file in found}
    # A folder that cannot be looked into now is no reason to forget what was in it.
    gone = [] if unread else [file for file in dataset.files(source) if file not in tasks]
    dataset.forget(source, gone)
    known = dataset.files(source)
    left_out = dataset.left_out(source)
    problems = [message for _, message in unread]
    pending = []
    for task in sorted(tasks.values(), key=lambda task: task.file):
        if known.get(task.file) == task.stamp:
            continue
        if left_out.get(task.file, {}).get("stamp") == task.stamp:
            problems.append(left_out[task.file]["problem"])
        elif chosen is None or task.path in chosen:
            pending.append(task)
    still = {file: kept for file, kept in left_out.items() if file in tasks and kept["stamp"] == tasks[file].stamp}
    work = partial(work_out, reading=reading)
    for begin in range(0, len(pending), BATCH_RUNS):
        batch = []
        for count, done in enumerate(spread_over(work, pending[begin : begin + BATCH_RUNS]), start=begin + 1):
            batch.append(done)
            if progress:
                progress(count, len(pending))
        for refused in dataset.add([done for done in batch if done.rows is not None]) + [
            done for done in batch if done.rows is None
        ]:
            problems.append(refused.problem)
            still[refused.task.file] = {"stamp": refused.task.stamp, "problem": refused.problem}
    dataset.describe(source, still)
    return Updated(dataset.count(), len(pending), len(gone), tuple(problems))


def _task(file: RunPath, source: str, way: str) -> Task:
    stamp = f"{DATASET_FORMAT} {DIGEST_FORMAT} {file.size} {file.stamp} {way}"
    return Task(file.path, file.relative, file.size, source, stamp)


def work_out(task: Task, reading: Reading) -> Done:
    """One run worked out, anywhere; what goes wrong is told in it."""
    try:
        if task.size > LARGEST_BYTES:
            return Done(
                task, None, None, f"{task.path.name} is {task.size / 1e9:.1f} GB, too large: review it by itself"
            )
        remark = ""
        notes: dict[str, str] = {}
        try:
            notes = read_notes(task.path)
        except UserError as error:
            remark = str(error)
        run = read_run(task.path)
        rig, cards = reading.under.read(run)
        rows = dataset_rows(review_of(run, rig, cards=cards, later_notes=notes))
        (row,) = rows["runs"]
        row |= {"source": task.source, "file": task.file, "bytes": task.size, "stamp": task.stamp}
        row["remark"] = remark or row["remark"]
        return Done(task, rows, _signals(task, reading.under, row) if reading.signals else None, "")
    except UserError as error:
        return Done(task, None, None, str(error))
    except MemoryError:
        return Done(task, None, None, f"{task.path.name} needs more memory than there is: use another computer")


def _signals(task: Task, under: Under, row: Row) -> bytes:
    """Every signal of the run, in SI, with the run's key in front of it."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    from host.library.opened import Run

    frame = Run(task.path, under).frame().reset_index()
    key = KEY_FIELDS[0]
    columns = {key.name: pa.array([row[key.name]] * len(frame)).dictionary_encode()}
    schema = schema_of(signal_fields("si"))
    for field in schema:
        known = field.name in frame  # a run may not know its start
        columns[field.name] = (
            pa.Array.from_pandas(frame[field.name], type=field.type) if known else pa.nulls(len(frame), field.type)
        )
    out = pa.BufferOutputStream()
    pq.write_table(pa.table(columns), out, compression="zstd")
    data: bytes = out.getvalue().to_pybytes()
    return data


class _Dataset:
    """The tables at a store. Of `runs` the few columns that say what is there are in memory, the rest is not."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._descriptor = self._read_descriptor()
        self._rows: dict[str, dict[str, Any]] = {}
        for name in store.names("runs"):
            month = name.removeprefix("runs/").removesuffix(".parquet")
            table = read_part(store, "runs", month, _PLACE)
            for row in table.to_pylist() if table is not None else ():
                self._rows[row["run_id"]] = row | {"month": month}

    def _read_descriptor(self) -> dict[str, Any]:
        import json

        data = self._store.read(DESCRIPTOR)
        try:
            descriptor: dict[str, Any] = json.loads(data) if data else {}
            written = descriptor["swardflow"]["format"] if data else DATASET_FORMAT
        except (ValueError, KeyError, TypeError):
            written = None
        if written != DATASET_FORMAT or (data is None and self._store.names("runs")):
            raise BadInputError(
                f"{self._store.place} holds no dataset that this Swardflow adds to: give another folder, or delete it "
                "and write it again from the runs"
            )
        if data is None:  # so that an update that is cut off can be taken up again
            descriptor = package("swardflow-dataset", _TITLE, [], {"format": DATASET_FORMAT})
            self._store.write(DESCRIPTOR, json_bytes(descriptor))
        return descriptor

    def files(self, source: str) -> dict[str, str]:
        """Files of a folder of runs that are in the dataset, with their stamps."""
        return {row["file"]: row["stamp"] for row in self._rows.values() if row["source"] == source}

    def left_out(self, source: str) -> dict[str, dict[str, str]]:
        """Files that were left out, with stamp and message."""
        kept = self._descriptor.get("swardflow", {}).get("left_out", {}).get(source, {})
        return dict(kept) if isinstance(kept, dict) else {}

    def count(self) -> int:
        """Runs in the dataset."""
        return len(self._rows)

    def forget(self, source: str, files: Sequence[str]) -> None:
        """Take the runs of these files out."""
        wanted = set(files)
        ids = {key for key, row in self._rows.items() if row["source"] == source and row["file"] in wanted}
        self._rewrite({self._rows[key]["month"] for key in ids}, ids, [])

    def add(self, done: Sequence[Done]) -> list[Done]:
        """Put runs in, in place of their earlier selves. Gives back those that another file of theirs stands for."""
        best: dict[str, Done] = {}
        refused = []
        for one in sorted(done, key=lambda one: (*(-value for value in _soundness(_run_row(one))), one.task.file)):
            key = _run_row(one)["run_id"]
            other = best[key].task.file if key in best else self._kept_instead(one)
            if other:
                copy = (
                    f"{one.task.path} is a copy of {other}, which is in the dataset: move one of them out of the folder"
                )
                refused.append(Done(one.task, None, None, copy))
            else:
                best[key] = one
        # A file that was another run before, or a run whose month has been put right, leaves its old place first.
        files = {(one.task.source, one.task.file) for one in best.values()}
        stale = {
            key
            for key, row in self._rows.items()
            if ((row["source"], row["file"]) in files and key not in best)
            or (key in best and row["month"] != month_of(_run_row(best[key])))
        }
        self._rewrite({self._rows[key]["month"] for key in stale}, stale, [])
        self._rewrite({month_of(_run_row(one)) for one in best.values()}, set(best), list(best.values()))
        return refused

    def _kept_instead(self, done: Done) -> str:
        """Another, no less sound file of the same folder that is in the dataset as this run."""
        own, task = _run_row(done), done.task
        row = self._rows.get(own["run_id"])
        if row is None or row["source"] != task.source or row["file"] == task.file or _soundness(row) < _soundness(own):
            return ""
        return str(row["file"])

    def _rewrite(self, months: set[str], without: set[str], added: Sequence[Done]) -> None:
        import pyarrow as pa
        import pyarrow.compute as pc

        for month in sorted(months):
            here = [one for one in added if month_of(_run_row(one)) == month]
            stay = [key for key, row in self._rows.items() if row["month"] == month and key not in without]
            for name in TABLES:
                parts = [table_of(name, [row for one in here for row in (one.rows or {})[name]])]
                before = read_part(self._store, name, month) if stay else None
                if before is not None:
                    parts.append(before.filter(pc.is_in(before["run_id"], pa.array(stay, pa.string()))))
                for one in here if name == "runs" else ():
                    if one.signals is not None:
                        self._store.write(_signals_name(month, _run_row(one)["run_id"]), one.signals)
                write_part(self._store, name, month, pa.concat_tables(parts))
            for key in without:
                if self._rows.get(key, {}).get("month") == month:
                    del self._rows[key]
                    if key not in {_run_row(one)["run_id"] for one in here}:
                        self._store.delete(_signals_name(month, key))
            for one in here:
                row = _run_row(one)
                self._rows[row["run_id"]] = {name: row[name] for name in _PLACE} | {"month": month}

    def describe(self, source: str, left_out: dict[str, dict[str, str]]) -> None:
        """Write what the dataset is, if that has changed."""
        about = self._descriptor.get("swardflow", {})
        others = {key: kept for key, kept in about.get("left_out", {}).items() if key != source}
        resources = [_resource(name, names) for name in sorted(TABLES) if (names := self._store.names(name))]
        if names := self._store.names(SIGNALS):
            resources.append(_resource(SIGNALS, names))
        about = {
            "format": DATASET_FORMAT,
            "left_out": others | ({source: left_out} if left_out else {}),
        }
        descriptor = package("swardflow-dataset", _TITLE, resources, about)
        if descriptor != self._descriptor:
            self._store.write(DESCRIPTOR, json_bytes(descriptor))
            self._descriptor = descriptor


_TITLE = "Runs of Swardflow"
_PLACE = ("run_id", "source", "file", "stamp", "bytes", "complete")


def _soundness(row: Row) -> tuple[bool, int]:
    return bool(row["complete"]), row["bytes"]


def _run_row(done: Done) -> Row:
    assert done.rows is not None
    return done.rows["runs"][0]


def _signals_name(month: str, run_id: str) -> str:
    return part_name(SIGNALS, f"{month}/{run_id}")


def _resource(name: str, paths: Sequence[str]) -> dict[str, Any]:
    fields = (KEY_FIELDS[0], *signal_fields("si")) if name == SIGNALS else TABLES[name]
    return {
        "name": name,
        "path": list(paths),
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
        "schema": table_schema(fields, PRIMARY_KEYS.get(name, ())),
    }
