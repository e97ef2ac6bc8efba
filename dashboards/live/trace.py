"""The last minute of the rate, kept here so that a screen that has just come (back) has it at once."""

from __future__ import annotations

from collections import deque

WINDOW_S = 60.0
SPACING_S = 0.2


class Trace:
    """Points (run time in s, band position or None where there was no rate), at most every SPACING_S."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float | None]] = deque()

    def add(self, time_s: float, position: float | None) -> None:
        """One more point; too close to the one before, it only counts if it starts or ends a gap."""
        if self._points:
            last_s, last = self._points[-1]
            crowded = time_s - last_s < SPACING_S - 1e-3
            if time_s <= last_s or (crowded and (last is None) == (position is None)):
                return
        self._points.append((round(time_s, 2), position))
        while self._points[0][0] < time_s - WINDOW_S:
            self._points.popleft()

    def points(self) -> list[tuple[float, float | None]]:
        """All points, oldest first."""
        return list(self._points)
