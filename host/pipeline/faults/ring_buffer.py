"""The last frames, for what a fault has to be held against."""

from __future__ import annotations

import numpy as np

from host.pipeline.columns import Floats, Ints


class Tail:
    """The last `length` rows of some columns, with the rows of the present chunk behind them."""

    def __init__(self, columns: int, length: int) -> None:
        self._length = length
        self._rows = np.empty((columns, 0))
        self._fresh = 0

    def push(self, *columns: Floats | Ints) -> None:
        """Add the columns of a chunk, each of shape (n,)."""
        self._rows = np.concatenate((self._rows[:, -self._length :], np.array(columns, dtype=np.float64)), axis=1)
        self._fresh = len(columns[0])

    def upto(self, place: int, count: int) -> Floats:
        """The last `count` rows up to row `place` of the present chunk (-1: before it), shape (columns, ≤count).

        Never more than the last rows that a chunk of any size would still have.
        """
        end = self._rows.shape[1] - self._fresh + place + 1
        return self._rows[:, max(end - min(count, self._length), 0) : end]
