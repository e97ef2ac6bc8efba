"""What an input lets pass (PROTOCOL.md section 5, 'A pulse'), and its counts."""

from collections.abc import Callable
from dataclasses import dataclass, field

SPACING, REST = 0, 1


@dataclass
class Input:
    """One pulse input. Times are world seconds; `rest` is how long the input was inactive before the edge.

    count: counted since the start; refused: by the filter; dropped: noticed but not counted; glitch: refused in this
    frame; edge: world time of the last that counted, None before the first.
    """

    rule: int
    filter_us: int
    count: int = 0
    refused: int = 0
    dropped: int = 0
    glitch: bool = False
    edge: float | None = None
    _last: float = field(default=float("-inf"), repr=False)

    def passes(self, time: float, rest: float) -> bool:
        """Whether the filter takes an active edge; a spacing counts from the last edge that was taken."""
        quiet = time - self._last if self.rule == SPACING else rest
        return quiet * 1e6 >= self.filter_us

    def take(self, time: float, rest: float, queue_has_room: Callable[[], bool]) -> None:
        """An active edge: counted, refused, or dropped because it found no room."""
        if not self.passes(time, rest):
            self.refused += 1
            self.glitch = True
        elif queue_has_room():
            self.count += 1
            self.edge = self._last = time
        else:
            self.dropped += 1
            self._last = time
