"""What is usual in this run: pressure, switch and flow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from host.pipeline.carry import HoldLast, Previous, RunningSum
from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.faults.tuning import TUNING


class UsualPressure:
    """The median of the run's first steady seconds of spraying; where the pressure is higher later, it follows."""

    def __init__(self) -> None:
        self._first: list[float] = []
        self._usual = math.nan
        self._begun_s = math.nan
        self._before_s = 0.0
        self._mean = math.nan
        self._breaks, self._break_before = RunningSum(), Previous(-1)
        self._usual_held, self._mean_held = HoldLast(math.nan), HoldLast(math.nan)
        self.stays, self.goes = _Nearly(), _Nearly()  # what the pressure does when the boom is shut

    def push(self, now_s: Floats, pressure_pa: Floats, steady: Bools) -> tuple[Floats, Floats]:
        """Usual pressure, and the mean of the last seconds of steady spray (Pa), at each frame, shape (n,); NaN before
        they are known."""
        known = np.flatnonzero(steady & np.isfinite(pressure_pa))
        breaks = self._breaks((~steady).astype(np.int64))[known]
        usual, means = (np.full(len(now_s), math.nan) for _ in range(2))
        usual[known], means[known] = self._follow(
            now_s[known], pressure_pa[known], self._break_before(breaks) != breaks
        )
        held = np.zeros(len(now_s), dtype=np.bool_)
        held[known] = True
        return self._usual_held(usual, held), self._mean_held(means, held | ~steady)

    def _follow(self, now_s: Floats, pressure_pa: Floats, anew: Bools) -> tuple[Floats, Floats]:
        """Both at frames of steady spray with a known pressure; `anew` where it had been interrupted."""
        steps = np.diff(now_s, prepend=self._before_s)
        shares, follows = (np.minimum(steps / s, 1.0) for s in (TUNING.down_mean_s, TUNING.usual_follows_s))
        means, mean = [], self._mean
        for p, share, begins in zip(pressure_pa.tolist(), shares.tolist(), anew.tolist(), strict=True):
            mean = p if begins else mean + (p - mean) * share
            means.append(mean)
        self._mean = mean
        self._before_s = float(now_s[-1]) if len(now_s) else self._before_s
        mean_pa = np.array(means)
        return self._rises(now_s, pressure_pa, mean_pa, follows), mean_pa

    def _rises(self, now_s: Floats, pressure_pa: Floats, mean_pa: Floats, follows: Floats) -> Floats:
        """The usual pressure at those frames: learned once, it rises where the mean is above it and never falls."""
        out, place = np.full(len(now_s), math.nan), 0
        while math.isnan(self._usual) and place < len(now_s):
            self._usual = out[place] = self._learn(float(now_s[place]), float(pressure_pa[place]))
            place += 1
        out[place:] = self._usual
        above = place + np.flatnonzero(mean_pa[place:] > self._usual)
        for n, mean, follow in zip(*(a.tolist() for a in (above, mean_pa[above], follows[above])), strict=True):
            if mean > self._usual:
                self._usual += (mean - self._usual) * follow
                out[n] = self._usual
        return np.fmax.accumulate(out)

    def _learn(self, now_s: float, pressure_pa: float) -> float:
        self._first.append(pressure_pa)
        self._begun_s = now_s if math.isnan(self._begun_s) else self._begun_s
        enough = now_s - self._begun_s >= TUNING.usual_pressure_s and len(self._first) >= 4
        return float(np.median(self._first)) if enough else math.nan


class _Nearly:
    """Whether something has nearly always been so when the boom was shut."""

    def __init__(self) -> None:
        self._so, self._all, self._then = RunningSum(), RunningSum(), HoldLast(False)

    def push(self, shut_us: Ints, so: Bools, flowing: Bools) -> Bools:
        """Whether it was `so` for nearly all of the time `shut_us`, and that was long enough, when water was `flowing`
        last: what has come since may be a fault."""
        total, often = self._all(shut_us), self._so(np.where(so, shut_us, 0))
        return self._then((total >= 1_500_000) & (often >= 0.8 * total), flowing)


@dataclass(frozen=True)
class Habits:
    """Arrays of shape (n,)."""

    should_spray: Bools
    trail_s: Floats  # for which the flow has been gone before the switch opened, at most, and a margin
    usual_hz: Floats  # of the flow's pulses; 0 before they are known


class SwitchHabits:
    """How long after the switch the flow comes, and how long before it it goes."""

    def __init__(self, has_switch: bool) -> None:
        self._has_switch = has_switch
        self._leads: list[float] = []
        self._trails: list[float] = []
        self._on, self._on_s = False, 0.0
        self._came_s: float | None = None  # when the flow came; None: not since the switch went on
        self._hz, self._usual_hz = 0.0, HoldLast(0.0)

    def push(self, now_s: Floats, switch: Bools, hz: Floats, idle_s: Floats, steady: Bools) -> Habits:
        """Continue; `hz` of the flow's pulses, `idle_s` since the last one, and whether the flow is `steady`."""
        usual = self._usual_hz(self._follow(hz, steady), steady)
        should, trail = np.zeros(len(now_s), dtype=np.bool_), np.zeros(len(now_s))
        if self._has_switch and len(now_s):
            flows = (hz > 0) & (hz > TUNING.walks_hz_share * usual)
            turns = np.flatnonzero(np.diff(switch, prepend=self._on)).tolist()
            for begin, end in pairwise(sorted({0, *turns, len(now_s)})):
                self._turn(float(now_s[begin]), bool(switch[begin]), float(idle_s[begin]))
                part = slice(begin, end)
                trail[part] = max(self._trails[-TUNING.mask_passes :], default=0.0) + TUNING.trail_margin_s
                if self._on:
                    should[part] = self._due(now_s[part], flows[part], idle_s[part])
        return Habits(should, trail, usual)

    def _follow(self, hz: Floats, steady: Bools) -> Floats:
        """The flow's usual pulses in the steady frames, 0 in the others, shape (n,)."""
        usual, out = self._hz, []
        for now_hz in hz[steady].tolist():
            usual = usual + (now_hz - usual) * 0.02 if usual else now_hz
            out.append(usual)
        self._hz = usual
        found = np.zeros(len(hz))
        found[steady] = out
        return found

    def _turn(self, now_s: float, on: bool, idle_s: float) -> None:
        if on and not self._on:
            self._on_s, self._came_s = now_s, None
        if self._on and not on and self._came_s is not None and idle_s < TUNING.trail_most_s:
            self._trails.append(idle_s)
        self._on = on

    def _due(self, now_s: Floats, flows: Bools, idle_s: Floats) -> Bools:
        """Whether the flow should have come, in frames with the switch on."""
        late, place = now_s - self._on_s > self._allowed_s(), 0
        if self._came_s is None:
            came = np.flatnonzero(flows & (idle_s < now_s - self._on_s + 0.05))
            if not len(came):
                return np.asarray(late)
            place = int(came[0])
            self._came_s = float(now_s[place])
            self._leads.append(self._came_s - self._on_s)
        late[place:] = now_s[place:] - self._came_s > 1.0
        return np.asarray(late)

    def _allowed_s(self) -> float:
        """How long the flow may take to come."""
        if len(self._leads) < TUNING.mask_least_passes:
            return TUNING.lead_at_first_s
        return max(self._leads[-TUNING.mask_passes :]) + TUNING.lead_margin_s
