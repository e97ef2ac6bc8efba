"""The last minutes of the rate, kept here so that a screen that has just come (back) has them at once."""

from __future__ import annotations

from collections import deque

FINE_S, WINDOW_S = 60.0, 600.0
SPACING_S, OLDER_SPACING_S = 0.2, 2.0


class Trace:
    """Points (run time in s, band position or None where there was no rate).

    At most every SPACING_S over the last minute, every OLDER_SPACING_S before it; both ends of a gap are kept.
    """

    def __init__(self) -> None:
        self._fine: deque[tuple[float, float | None]] = deque()
        self._older: deque[tuple[float, float | None]] = deque()

    def add(self, time_s: float, position: float | None) -> None:
        """One more point; too close to the one before, it only counts if it starts or ends a gap."""
        if not _takes(self._fine, time_s, position, SPACING_S):
            return
        self._fine.append((round(time_s, 2), position))
        while self._fine[0][0] < time_s - FINE_S:
            gone = self._fine.popleft()
            if _takes(self._older, *gone, OLDER_SPACING_S):
                self._older.append(gone)
        while self._older and self._older[0][0] < time_s - WINDOW_S:
            self._older.popleft()

    def points(self) -> list[tuple[float, float | None]]:
        """All points, oldest first."""
        return [*self._older, *self._fine]


def _takes(points: deque[tuple[float, float | None]], time_s: float, position: float | None, spacing_s: float) -> bool:
    if not points:
        return True
    last_s, last = points[-1]
    crowded = time_s - last_s < spacing_s - 1e-3
    return time_s > last_s and not (crowded and (last is None) == (position is None))
