"""Passes: stretches of spraying on the move, with short interruptions bridged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from host.pipeline.columns import Bools, Floats, Ints

SHORTEST_M = 2.0  # less is a dribble or a nudge, not a pass
LONGEST_GAP_US = 2_000_000  # an interruption of spraying shorter than this does not end the pass


@dataclass(frozen=True)
class Pass:
    """One pass. Volume leaves out what was sprayed while standing still."""

    number: int
    start_s: float  # host time from the start of the run
    end_s: float
    distance_m: float
    area_m2: float
    volume_m3: float
    spraying_s: float
    off_target_s: float
    off_target_m2: float
    pressure_pa: float  # mean while spraying; NaN without a transducer
    speed_m_s: float  # distance over spraying time
    rate_m3_m2: float  # volume over area
    rate_u_m3_m2: float  # its standard uncertainty


TOTALS = (
    "board_us",
    "host_s",
    "distance_m",
    "area_m2",
    "volume_m3",  # poured on the move
    "spraying_s",
    "off_target_s",
    "off_target_m2",
    "pressure_s",  # time for which the pressure below is known
    "pressure_pa_s",
)
_TIME, _AREA, _VOLUME = TOTALS.index("board_us"), TOTALS.index("area_m2"), TOTALS.index("volume_m3")


@dataclass(frozen=True)
class _Open:
    """A pass under way: running totals, in the order of TOTALS, before its first frame and at its latest one."""

    number: int  # 0 until it is long enough to count
    start: Floats
    last: Floats
    sprayed_us: float  # when it was last spraying, on the move or not


class PassFinder:
    """Cuts the run into passes as it goes.

    A pass begins with spraying on the move, counts once it is SHORTEST_M long, and ends where the sprayer last moved
    while spraying before the spray was off for LONGEST_GAP_US; standing still with the spray on does not end it. What
    the meter still delivers in that gap belongs to the pass: its pulses come late.
    """

    def __init__(self, swath_m: float, relative_u: float) -> None:
        self._shortest_m2 = SHORTEST_M * swath_m
        self._relative_u = relative_u
        self._open: _Open | None = None
        self._before = np.zeros(len(TOTALS))
        self.count = 0

    def push(
        self, spraying: Bools, moving: Bools, running: Mapping[str, Floats | Ints]
    ) -> tuple[Ints, Bools, list[Pass]]:
        """Continue with the two states and the `running` totals named in TOTALS, each of shape (n,).

        Returns the number of passes begun so far, shape (n,), whether the frame lies in one that counts, shape (n,),
        and the passes that ended here.
        """
        n = len(spraying)
        applying = spraying & moving
        totals = np.stack([running[name] for name in TOTALS], axis=1).astype(np.float64)
        number = np.full(n, self.count, dtype=np.int64)
        in_pass = np.zeros(n, dtype=np.bool_)
        ended: list[Pass] = []
        place = 0
        while place < n:
            if self._open is None:
                place = _next(applying, place)
                if place < n:
                    start = totals[place - 1] if place else self._before
                    self._open = _Open(0, start, totals[place], totals[place, _TIME])
                continue
            end = self._follow(spraying, applying, totals, place)
            number[place:] = self.count
            self._mark(totals, place, end, number, in_pass)
            place = end
            if place < n:
                ended += self._close(totals[place - 1] if place else self._before)
        if n:
            self._before = totals[-1]
        return number, in_pass, ended

    def finish(self) -> list[Pass]:
        """The pass under way when the run ends."""
        return self._close(self._before) if self._open else []

    def current(self) -> Pass | None:
        """The pass under way as far as it has come, if it is long enough to count."""
        if self._open is None or not self._open.number:
            return None
        return self._made(self._open, self._before)

    def _follow(self, spraying: Bools, applying: Bools, totals: Floats, place: int) -> int:
        """First frame from `place` on that is no longer in the open pass; the pass's latest frame is brought up."""
        assert self._open is not None
        alive = np.flatnonzero(spraying[place:]) + place
        times = np.concatenate(([self._open.sprayed_us], totals[alive, _TIME]))
        gaps = np.flatnonzero(np.diff(times) >= LONGEST_GAP_US)
        sprayed_us = float(times[gaps[0]] if len(gaps) else times[-1])
        end = int(np.searchsorted(totals[:, _TIME], sprayed_us + LONGEST_GAP_US))
        within = np.flatnonzero(applying[place:end]) + place
        last = totals[within[-1]] if len(within) else self._open.last
        self._open = _Open(self._open.number, self._open.start, last, sprayed_us)
        return end

    def _mark(self, totals: Floats, place: int, end: int, number: Ints, in_pass: Bools) -> None:
        """Number the pass once it is long enough, from that frame on."""
        assert self._open is not None
        counts_from = place
        if not self._open.number:
            long_enough = self._open.start[_AREA] + self._shortest_m2
            counts_from = max(place, int(np.searchsorted(totals[:, _AREA], long_enough)))
            if counts_from >= end:
                return
            self.count += 1
            self._open = replace(self._open, number=self.count)
            number[counts_from:] = self.count
        in_pass[counts_from:end] = True

    def _close(self, now: Floats) -> list[Pass]:
        assert self._open is not None
        found = [self._made(self._open, now)] if self._open.number else []
        self._open = None
        return found

    def _made(self, open_: _Open, now: Floats) -> Pass:
        done = dict(zip(TOTALS, (open_.last - open_.start).tolist(), strict=True))
        volume = float(now[_VOLUME] - open_.start[_VOLUME])
        rate = _ratio(volume, done["area_m2"])
        return Pass(
            number=open_.number,
            start_s=float(open_.start[1]),
            end_s=float(open_.last[1]),
            distance_m=done["distance_m"],
            area_m2=done["area_m2"],
            volume_m3=volume,
            spraying_s=done["spraying_s"],
            off_target_s=done["off_target_s"],
            off_target_m2=done["off_target_m2"],
            pressure_pa=_ratio(done["pressure_pa_s"], done["pressure_s"]),
            speed_m_s=_ratio(done["distance_m"], done["spraying_s"]),
            rate_m3_m2=rate,
            rate_u_m3_m2=rate * self._relative_u,
        )


def _ratio(above: float, below: float) -> float:
    return above / below if below > 0 else float("nan")


def _next(applying: Bools, place: int) -> int:
    found = np.flatnonzero(applying[place:])
    return place + int(found[0]) if len(found) else len(applying)
