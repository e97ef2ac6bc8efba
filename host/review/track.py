"""The columns of a run that evenness, standing spots and comparisons need, kept for the whole run."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from host.pipeline import Signals
from host.pipeline.columns import Bools, Floats


@dataclass(frozen=True)
class Track:
    """One row per frame, each of shape (n,), named as in Signals."""

    host_s: Floats
    distance_m: Floats
    volume_m3: Floats
    flow_m3_s: Floats
    speed_m_s: Floats
    pressure_pa: Floats
    spraying: Bools
    moving: Bools
    standing_s: Floats
    standing_m3: Floats
    pass_number: Floats

    def __len__(self) -> int:
        return len(self.host_s)

    def between(self, start_s: float, end_s: float) -> slice:
        """Frames after `start_s` up to and including `end_s` (host time)."""
        first, last = np.searchsorted(self.host_s, [start_s, end_s], side="right")
        return slice(int(first), int(last))


class TrackKeeper:
    """Collects a track from signals in pieces."""

    def __init__(self) -> None:
        self._parts: list[list[np.ndarray[tuple[int], np.dtype[np.generic]]]] = []

    def push(self, signals: Signals) -> None:
        """Keep what is needed of `signals`."""
        self._parts.append([getattr(signals, column.name) for column in fields(Track)])

    def track(self) -> Track:
        """All rows so far."""
        columns = zip(*self._parts, strict=True) if self._parts else [[np.empty(0)]] * len(fields(Track))
        return Track(*(np.concatenate(list(column)) for column in columns))
