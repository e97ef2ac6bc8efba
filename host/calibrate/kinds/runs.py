"""Fields that name an interval of a recorded run, and what the board counted in it."""

from __future__ import annotations

from host.calibrate.interval import Interval, interval_of_run
from host.calibrate.kinds.kind import Field, Job
from host.documents.words import sentence
from host.entries import Entries, WrongEntriesError
from host.errors import UserError

RUN_FIELDS = (
    Field("run", "Run", "latest", required=False, keeps=True, runs=True),
    Field("start", "From: mark or second", "start"),
    Field("end", "To: mark or second", "end"),
)


def interval_typed(entries: Entries, job: Job) -> Interval:
    """The counts between two marks of a run. Raises WrongEntriesError; a mistake is said below the first mark."""
    run = entries.read("run", str) or ""
    start = entries.need("start", str, "Enter the mark, or the second, where it starts.")
    end = entries.need("end", str, "Enter the mark, or the second, where it ends.")
    entries.check()
    assert start is not None and end is not None
    try:
        return interval_of_run(job.open_run(run), start, end)
    except UserError as error:
        raise WrongEntriesError({"start": sentence(str(error))}) from None
