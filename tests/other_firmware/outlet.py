"""The board's end of the serial line: a buffer that empties at the line's speed (PROTOCOL.md sections 2 and 8)."""

from dataclasses import dataclass, field

REPORT_BYTES = 80


@dataclass(frozen=True)
class _Underway:
    begins: float
    ends: float
    line: bytes


@dataclass
class Outlet:
    """Lines on their way out. `room` is the buffer in bytes; nothing moves in a stall (from, to), world seconds."""

    baud: int = 115_200
    room: int = 192
    stalls: tuple[tuple[float, float], ...] = ()
    _underway: list[_Underway] = field(default_factory=list)
    _waiting: list[bytes] = field(default_factory=list)

    def backlog(self, now: float) -> int:
        """Bytes handed over and not yet gone."""
        byte_s = 10 / self.baud
        return sum(
            len(one.line) if one.begins >= now else min(len(one.line), int((one.ends - now) / byte_s + 0.999))
            for one in self._underway
            if one.ends > now
        )

    def report(self, now: float, line: bytes) -> float | None:
        """When the report will have left whole, or None: no room, dropped."""
        if self.backlog(now) + len(line) > self.room:
            return None
        return self._hand_over(now, line)

    def other(self, now: float, line: bytes) -> None:
        """Any other line: it goes, in order, when it fits and leaves room for a report."""
        self._waiting.append(line)
        self.settle(now)

    def settle(self, now: float) -> None:
        """Hand over what waits and fits."""
        while self._waiting and self.backlog(now) + len(self._waiting[0]) + REPORT_BYTES <= self.room:
            self._hand_over(now, self._waiting.pop(0))

    @property
    def waits(self) -> bool:
        return bool(self._waiting)

    def gone(self, now: float) -> list[tuple[float, bytes]]:
        """Lines whose last byte has left by `now`, with that moment; each is told once."""
        done = [(one.ends, one.line) for one in self._underway if one.ends <= now]
        self._underway = [one for one in self._underway if one.ends > now]
        return done

    def cut(self, now: float) -> tuple[bytes, bool]:
        """A reset: what has left of the line underway, and whether a report may have been cut. All else is lost."""
        part, report = b"", False
        for one in self._underway:
            if one.begins < now < one.ends:
                part = one.line[: int(len(one.line) * (now - one.begins) / (one.ends - one.begins))]
                report = one.line.startswith(b"R")
        self._underway, self._waiting = [], []
        return part, report

    def _hand_over(self, now: float, line: bytes) -> float:
        begins = max([now, *(one.ends for one in self._underway)])
        for stalled, moves in self.stalls:
            if stalled <= begins < moves:
                begins = moves
        ends = begins + len(line) * 10 / self.baud
        self._underway.append(_Underway(begins, ends, line))
        return ends
