"""When to make a noise about faults, and when to stop. Pure: fed with the faults as they stand, and with the time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from host.pipeline.faults.fault import Fault
from host.pipeline.faults.tuning import TUNING


@dataclass(frozen=True)
class AlarmEvent:
    """Something that happened to the alarm: raised, seen, cleared, muted or unmuted."""

    at_s: float
    what: str
    number: int = 0  # of the fault; 0 for mute and unmute


class Alarm:
    """Raised by an urgent fault, quiet once somebody has seen it or muted it, over when the fault has been gone.

    A fault is raised once: seen stays seen, however long it lasts. `mute` silences what is there and what comes, until
    `unmute`; the words stay on the screen.
    """

    def __init__(self) -> None:
        self.events: list[AlarmEvent] = []
        self.muted = False
        self._open: dict[int, bool] = {}  # number of the fault: whether somebody has seen it
        self._gone_s: dict[int, float] = {}

    @property
    def sounding(self) -> bool:
        """Whether to make a noise now."""
        return not self.muted and not all(self._open.values())

    @property
    def standing(self) -> list[int]:
        """Numbers of the faults for which the alarm stands, heard or not."""
        return sorted(self._open)

    def push(self, now_s: float, faults: Iterable[Fault]) -> list[AlarmEvent]:
        """Go on to `now_s` with the run's faults; what happened."""
        new: list[AlarmEvent] = []
        given = list(faults)
        for number in set(self._open) - {fault.number for fault in given}:  # taken back
            self._let_go(number, now_s, new)
        for fault in given:
            if not fault.urgent:
                continue
            if fault.ended_s is None:
                self._gone_s.pop(fault.number, None)
                if fault.number not in self._open:
                    self._open[fault.number] = False
                    new.append(AlarmEvent(now_s, "raised", fault.number))
            elif fault.number in self._open:
                self._let_go(fault.number, now_s, new)
        self.events += new
        return new

    def _let_go(self, number: int, now_s: float, new: list[AlarmEvent]) -> None:
        gone = self._gone_s.setdefault(number, now_s)
        if now_s - gone >= TUNING.alarm_clear_s:
            del self._open[number], self._gone_s[number]
            new.append(AlarmEvent(now_s, "cleared", number))

    def acknowledge(self, now_s: float) -> list[AlarmEvent]:
        """Somebody has seen all that stands."""
        new = [AlarmEvent(now_s, "seen", number) for number, seen in sorted(self._open.items()) if not seen]
        self._open = dict.fromkeys(self._open, True)
        self.events += new
        return new

    def mute(self, now_s: float, on: bool) -> list[AlarmEvent]:
        """Silence the alarm from now on, or let it be heard again."""
        if on == self.muted:
            return []
        self.muted = on
        new = [AlarmEvent(now_s, "muted" if on else "unmuted")]
        self.events += new
        return new
