"""Whether spraying and walking went on through a silence, by what was counted meanwhile."""

from __future__ import annotations

import numpy as np

from host.pipeline.rows import Rows

# So much less flow or way than before, in time, may hide that the spray was off or that it stood.
_MISSED_US = 1_000_000
_MISSED_SHARE = 0.05  # of the silence, of the flow
_STOOD_SHARE = 0.15  # of the silence, of the way: a walker slows down by so much and has not stood
_NUDGE_M = 0.3
_BEFORE_US = 3_000_000  # what flow and pace before the silence are taken from


def went_on(rows: Rows, row: Rows) -> bool:
    """Whether `row`, a silence, is sprayed like the `rows` of spraying before it: hardly without a stop of either."""
    near = rows[rows["us"] > rows["us"][-1] - _BEFORE_US]
    return _flowed_on(near, row) and _walked_on(near, row)


def _flowed_on(near: Rows, row: Rows) -> bool:
    timed = np.flatnonzero(near["timed"])
    if len(timed) < 2 or not row["timed"][0]:
        return False
    a, b = int(timed[0]), int(timed[-1])
    span_us = int(near["edge_us"][b] - near["edge_us"][a])
    if span_us <= 0:
        return False
    before = float(near["pulses"][b] - near["pulses"][a]) / span_us
    silent_us = float(row["edge_us"][0] - near["edge_us"][b])
    counted = float(row["pulses"][0] - near["pulses"][b])
    missed_us = silent_us - counted / before
    return abs(missed_us) < min(_MISSED_US, _MISSED_SHARE * silent_us + 1.0 / before)


def _walked_on(near: Rows, row: Rows) -> bool:
    silent_us, way_m = float(row["step_us"][0]), float(row["step_m"][0])
    if not bool(near["moving"][-1]):
        return way_m < _NUDGE_M
    pace = float(np.sum(near["step_m"])) / float(np.sum(near["step_us"]))
    return pace > 0 and silent_us - way_m / pace <= max(_MISSED_US, _STOOD_SHARE * silent_us)
