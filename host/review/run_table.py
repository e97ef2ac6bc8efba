"""A run's signals as a table: rows as they come, and what of them is settled later."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from host.pipeline import Settled, Signals
from host.pipeline.carry import RunningSum
from host.pipeline.columns import EXPORTED
from host.review.columns import SETTLED_COLUMNS
from host.review.fields import SI, named
from host.units import to_user

if TYPE_CHECKING:
    import pandas as pd

TIME = "time_utc"


class SettledTable:
    """Signals as they come and their settled rows, which come later, as one table (`fields.signal_fields`).

    `system` is "us", "metric" or "si"; `started` is the start of the run, None where it is not known.
    """

    def __init__(self, system: str, started: datetime | None) -> None:
        self._system, self._started = system, started
        self._waiting: list[pd.DataFrame] = []
        self._sums = {field: RunningSum() for field, (_, _, total) in SETTLED_COLUMNS.items() if total}

    def push(self, signals: Signals) -> None:
        """Take the next signals."""
        import pandas as pd

        columns: dict[str, Any] = {TIME: pd.DatetimeIndex(utc_times(self._started, signals.host_s)).tz_localize("UTC")}
        for field, column in EXPORTED.items():
            shown = self._shown(getattr(signals, field), column.kind)
            columns[named(column.name, column.kind, self._system)] = shown
        self._waiting.append(pd.DataFrame(columns))

    def settle(self, settled: Settled) -> pd.DataFrame:
        """The rows that are settled now, one for each of `settled`."""
        import pandas as pd

        waiting = self._waiting[0] if len(self._waiting) == 1 else pd.concat(self._waiting, ignore_index=True)
        ready, rest = waiting.iloc[: len(settled)], waiting.iloc[len(settled) :]
        self._waiting = [rest]
        columns = {}
        for field, (name, kind, total) in SETTLED_COLUMNS.items():
            values = getattr(settled, field)
            columns[named(name, kind, self._system)] = self._shown(values if total else values.astype(int), kind)
            if total:
                columns[named(total, kind, self._system)] = self._shown(self._sums[field](values), kind)
        return pd.concat([ready.reset_index(drop=True), pd.DataFrame(columns)], axis="columns")

    def _shown(self, values: Any, kind: str) -> Any:
        return values if not kind or self._system == SI else to_user(values, kind, self._system)


def utc_times(started: datetime | None, host_s: npt.NDArray[np.floating[Any]]) -> npt.NDArray[np.datetime64]:
    """Moments of a run, to the microsecond, in UTC (shape as `host_s`); not-a-time where the start is not known."""
    if started is None or started.tzinfo is None:
        return np.full(len(host_s), "NaT", dtype="datetime64[us]")
    start = np.datetime64(started.astimezone(UTC).replace(tzinfo=None), "us")
    times: npt.NDArray[np.datetime64] = start + np.rint(host_s * 1e6).astype("timedelta64[us]")
    return times
