"""What is usual in this run: pressure, switch and flow."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from host.pipeline.carry import RunningSum
from host.pipeline.columns import Bools, Floats
from host.pipeline.faults.tuning import TUNING


class UsualPressure:
    """The median of the run's first steady seconds of spraying; where the pressure is higher later, it follows."""

    def __init__(self) -> None:
        self._first: list[float] = []
        self._usual = math.nan
        self._begun_s = math.nan
        self._before_s = 0.0
        self._mean = math.nan
        self.stays = _Stays()

    def push(self, now_s: Floats, pressure_pa: Floats, steady: Bools) -> tuple[Floats, Floats]:
        """Usual pressure, and the mean of the last seconds of steady spray (Pa), at each frame, shape (n,); NaN before
        they are known."""
        out, means = [], []
        for t, p, on in zip(now_s.tolist(), pressure_pa.tolist(), steady.tolist(), strict=True):
            if not on:
                self._mean = math.nan
            elif math.isfinite(p):
                share = min((t - self._before_s) / TUNING.down_mean_s, 1.0)
                self._mean = p if math.isnan(self._mean) else self._mean + (p - self._mean) * share
                if math.isnan(self._usual):
                    self._first.append(p)
                    self._begun_s = t if math.isnan(self._begun_s) else self._begun_s
                    if t - self._begun_s >= TUNING.usual_pressure_s and len(self._first) >= 4:
                        self._usual = float(np.median(self._first))
                elif self._mean > self._usual:
                    self._usual += (self._mean - self._usual) * min((t - self._before_s) / TUNING.usual_follows_s, 1.0)
                self._before_s = t
            out.append(self._usual)
            means.append(self._mean)
        return np.array(out), np.array(means)


class _Stays:
    """Whether the pressure stays when the boom is shut, as it does before the valve."""

    def __init__(self) -> None:
        self._high, self._all = RunningSum(), RunningSum()

    def push(self, shut: Bools, high: Bools) -> Bools:
        """True once it has been high in nearly all of the frames with the boom `shut`."""
        total, above = self._all(shut.astype(np.int64)), self._high((shut & high).astype(np.int64))
        return np.asarray((total >= 20) & (above >= 0.8 * total))


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
        self._on = self._came = False
        self._on_s = self._came_s = 0.0
        self._usual_hz = 0.0

    def push(self, now_s: Floats, switch: Bools, hz: Floats, idle_s: Floats, steady: Bools) -> Habits:
        """Continue; `hz` of the flow's pulses, `idle_s` since the last one, and whether the flow is `steady`."""
        should, trail, usual = np.zeros(len(now_s), dtype=np.bool_), np.zeros(len(now_s)), np.empty(len(now_s))
        columns = (a.tolist() for a in (now_s, switch, hz, idle_s, steady))
        for i, (t, on, now_hz, idle, is_steady) in enumerate(zip(*columns, strict=True)):
            if is_steady:
                self._usual_hz = self._usual_hz + (now_hz - self._usual_hz) * 0.02 if self._usual_hz else now_hz
            usual[i] = self._usual_hz
            if self._has_switch:
                self._turn(t, on, now_hz, idle)
                trail[i] = max(self._trails[-TUNING.mask_passes :], default=0.0) + TUNING.trail_margin_s
                should[i] = on and (t - self._came_s > 1.0 if self._came else t - self._on_s > self._allowed_s())
        return Habits(should, trail, usual)

    def _turn(self, t: float, on: bool, hz: float, idle: float) -> None:
        if on and not self._on:
            self._on_s, self._came = t, False
        if (
            on
            and hz > 0
            and not self._came
            and idle < t - self._on_s + 0.05
            and hz > TUNING.walks_hz_share * self._usual_hz
        ):
            self._came, self._came_s = True, t
            self._leads.append(t - self._on_s)
        if self._on and not on and self._came and idle < TUNING.trail_most_s:
            self._trails.append(idle)
        self._on = on

    def _allowed_s(self) -> float:
        """How long the flow may take to come."""
        if len(self._leads) < TUNING.mask_least_passes:
            return TUNING.lead_at_first_s
        return max(self._leads[-TUNING.mask_passes :]) + TUNING.lead_margin_s
