"""The columns of a run that evenness, stationary spots and comparisons need, kept for the whole run."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from host.pipeline import Settled, Signals
from host.pipeline.carry import Array
from host.pipeline.columns import Bools, Floats


@dataclass(frozen=True)
class Track:
    """One row per frame, each of shape (n,): some columns of Signals, then some of Settled."""

    host_s: Floats  # arrival
    board_s: Floats  # the board's own time: lines may arrive in bursts
    distance_m: Floats
    flow_m3_s: Floats
    pressure_pa: Floats
    spraying: Bools
    moving: Bools
    ground_m: Floats  # way sprayed in the row
    off_target_s: Floats  # of the row, on known ground
    stationary_s: Floats
    stationary_m3: Floats

    def __len__(self) -> int:
        return len(self.host_s)

    def between(self, start_s: float, end_s: float) -> slice:
        """Frames after `start_s` up to and including `end_s` (host time)."""
        first, last = np.searchsorted(self.host_s, [start_s, end_s], side="right")
        return slice(int(first), int(last))


class TrackKeeper:
    """Collects a track of `frames` rows from signals and settled rows, which come later."""

    def __init__(self, frames: int) -> None:
        types = {one.name: np.bool_ if one.type == "Bools" else np.float64 for one in fields(Track)}
        self._columns: dict[str, Array] = {name: np.empty(frames, dtype=dtype) for name, dtype in types.items()}
        self._pushed = self._settled = 0

    def push(self, signals: Signals) -> None:
        """Keep what is needed of `signals`."""
        self._pushed = self._keep(signals, self._pushed)

    def settle(self, settled: Settled) -> None:
        """Keep what is needed of settled rows."""
        self._settled = self._keep(settled, self._settled)

    def track(self) -> Track:
        """All rows, once all are settled."""
        return Track(**self._columns)

    def _keep(self, rows: Signals | Settled, place: int) -> int:
        end = place + len(rows)
        for name in self._columns.keys() & rows.__dataclass_fields__.keys():
            self._columns[name][place:end] = getattr(rows, name)
        return end
