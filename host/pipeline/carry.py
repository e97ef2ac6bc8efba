"""The ways in which a stage remembers what came before the arrays it is given."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]


class Previous:
    """Each element's predecessor; the first element ever gets `initial`."""

    def __init__(self, initial: float) -> None:
        self.last: Any = initial

    def __call__(self, values: Array) -> Array:
        """`values` moved one place back, shape and type kept."""
        before = np.empty_like(values)
        if len(values):
            before[0] = self.last
            before[1:] = values[:-1]
            self.last = values[-1]
        return before


class RunningSum:
    """Sum of everything so far, added strictly one after the other."""

    def __init__(self) -> None:
        self.last: Any = 0

    def __call__(self, values: Array) -> Array:
        """The sum after each element, shape and type kept."""
        if not values.any():  # as most things that are counted, most of the time
            return np.full(len(values), self.last, dtype=values.dtype)
        sums = np.empty(len(values) + 1, dtype=values.dtype)
        sums[0] = self.last
        sums[1:] = values
        np.cumsum(sums, out=sums)
        self.last = sums[-1]
        return sums[1:]


class SumSince:
    """Sum of everything since the last mark, where it was 0."""

    def __init__(self) -> None:
        self._sum, self._then = RunningSum(), HoldLast(0)

    def __call__(self, values: Array, marks: npt.NDArray[np.bool_]) -> Array:
        """The sum after each element, shape and type kept."""
        total = self._sum(values)
        since: Array = total - self._then(total, marks)
        return since


class Highest:
    """The highest value so far."""

    def __init__(self, initial: float) -> None:
        self.last: Any = initial

    def __call__(self, values: Array) -> Array:
        """The highest up to each element, shape and type kept."""
        highest: Array = np.maximum.accumulate(np.maximum(values, self.last))
        if len(highest):
            self.last = highest[-1]
        return highest


class HoldLast:
    """The newest fresh value; before any there is `initial`."""

    def __init__(self, initial: float) -> None:
        self.last: Any = initial

    def __call__(self, values: Array, fresh: npt.NDArray[np.bool_]) -> Array:
        """`values` where `fresh`, elsewhere the last fresh one before it, shape and type kept."""
        places = fresh.nonzero()[0]
        if not len(places):  # as of most things that happen, most of the time
            return np.full(len(values), self.last, dtype=values.dtype)
        if len(places) == len(values):
            held = values.copy()
        else:
            source, times = np.empty(len(places) + 1, dtype=values.dtype), np.empty(len(places) + 1, dtype=np.intp)
            source[0], source[1:] = self.last, values[places]
            times[:-1], times[-1] = places, len(values)
            times[1:] -= places
            held = source.repeat(times)
        self.last = held[-1]
        return held
