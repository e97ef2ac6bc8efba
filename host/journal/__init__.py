"""Run files: append, follow, read. RUN_FILE.md says what stands in one."""

from host.journal.follow import FileFollower
from host.journal.reader import Batch, RunReader
from host.journal.runs import RunFile, iter_batches, read_run
from host.journal.writer import JournalWriter, Snapshot

__all__ = [
    "Batch",
    "FileFollower",
    "JournalWriter",
    "RunFile",
    "RunReader",
    "Snapshot",
    "iter_batches",
    "read_run",
]
