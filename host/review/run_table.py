"""A run's signals as a table: rows as they come, and what of them is settled later."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from host.pipeline import Settled, Signals
from host.pipeline.carry import Highest, RunningSum
from host.pipeline.columns import EXPORTED
from host.review.columns import SETTLED_COLUMNS
from host.review.fields import SI, named
from host.units import to_user

if TYPE_CHECKING:
    import pandas as pd

TIME = "time_utc"
_UNASSIGNED = ("unassigned_s", "unassigned_m", "unassigned_m3")  # known without any ground


class SettledTable:
    """Signals as they come and their settled rows, which come later, as one table (`fields.signal_fields`).

    What belongs to ground is empty where volume and way were not measured together.

    `system` is "us", "metric" or "si"; `started` is the start of the run, None where it is not known.
    """

    def __init__(self, system: str, started: datetime | None) -> None:
        self._system, self._started = system, started
        self._waiting: list[pd.DataFrame] = []
        self._known: list[npt.NDArray[np.bool_]] = []  # of the rows that wait: whether volume and way were measured
        self._ever_known = Highest(0.0)
        self._sums = {field: RunningSum() for field, (_, _, total) in SETTLED_COLUMNS.items() if total}

    def push(self, signals: Signals) -> None:
        """Take the next signals."""
        import pandas as pd

        columns: dict[str, Any] = {TIME: pd.DatetimeIndex(utc_times(self._started, signals.host_s)).tz_localize("UTC")}
        for field, column in EXPORTED.items():
            shown = self._shown(getattr(signals, field), column.kind)
            columns[named(column.name, column.kind, self._system)] = shown
        self._waiting.append(pd.DataFrame(columns))
        self._known.append(np.isfinite(signals.flow_m3_s) & np.isfinite(signals.speed_m_s))

    def settle(self, settled: Settled) -> pd.DataFrame:
        """The rows that are settled now, one for each of `settled`."""
        import pandas as pd

        waiting = self._waiting[0] if len(self._waiting) == 1 else pd.concat(self._waiting, ignore_index=True)
        ready, rest = waiting.iloc[: len(settled)], waiting.iloc[len(settled) :]
        self._waiting = [rest]
        known = np.concatenate(self._known)
        known, self._known = known[: len(settled)], [known[len(settled) :]]
        so_far = self._ever_known(known.astype(float)) > 0.0
        columns = {}
        for field, (name, kind, total) in SETTLED_COLUMNS.items():
            values = getattr(settled, field)
            if not total:
                columns[named(name, kind, self._system)] = self._shown(values.astype(int), kind)
                continue
            sums, of_ground = self._sums[field](values), field not in _UNASSIGNED
            shown = np.where(known | (not of_ground), values, np.nan), np.where(so_far | (not of_ground), sums, np.nan)
            columns[named(name, kind, self._system)] = self._shown(shown[0], kind)
            columns[named(total, kind, self._system)] = self._shown(shown[1], kind)
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
