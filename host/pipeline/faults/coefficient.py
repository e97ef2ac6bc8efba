"""What the boom as a whole passes per root of pressure, frame by frame: c = Q/√P.

A knob, a pump or a battery moves Q and √P together and leaves c alone; a clog, a worn tip or a leak changes it
(orifice law, Bernoulli). The meter's rotor follows the flow with a lag, so √P is sent through the same lag first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.carry import HoldLast, Previous, RunningSum
from host.pipeline.columns import Bools, Floats, Ints
from host.pipeline.counts import Counts
from host.pipeline.faults.start_mask import StartMask
from host.pipeline.faults.timing import USUAL, Timing
from host.pipeline.faults.tuning import TUNING


@dataclass(frozen=True)
class Boom:
    """Arrays of shape (n,)."""

    pulses: Floats  # flow pulses between this frame's last edge and the edge before
    expected: Floats  # what c = 1 m³/s/√Pa would have given in that time; NaN without pressure
    edge: Ints  # number of the frame's last edge, counted from the start of the run
    start: Ints  # beginnings of the flow so far
    usable: Bools  # c may be judged by this frame
    root_pa: Floats  # √P behind the rotor's lag
    settled: Bools  # spraying for long enough
    jolt: Bools  # the pressure jumps
    wrong: Bools  # settled, but pulses were refused or cannot be true
    doubtful: Bools  # something was wrong since the last usable frame


class BoomCoefficient:
    """Pairs every frame's pulses with the pressure in just the time in which they came."""

    def __init__(self, timing: Timing = USUAL) -> None:
        self._root = _Lagged()
        self._integral = RunningSum()
        self._at_edge = HoldLast(0.0)
        self._edge_before = Previous(0.0)
        self._time_before = Previous(0.0)
        self._on_before, self._starts = Previous(False), RunningSum()
        self._since, self._mask = HoldLast(0), StartMask()
        self._upset = HoldLast(-(2**62))
        self._together = timing.frames(TUNING.noise_unit)  # frames: each stroke of a pump shows in quicker ones
        self._past_roots: Floats = np.zeros(2 * self._together - 1)
        self._ratio_before = HoldLast(0.0)
        self._shifted = Previous(0.0)
        self._wrong_before = Previous(False)
        # A rotor nears its new speed by the same law in quicker and in slower reports.
        nears = -np.expm1(-timing.interval_s / TUNING.lag_s) / -np.expm1(-TUNING.noise_unit[0] / TUNING.lag_s)
        self._rise = TUNING.impossible_rise * max(float(nears), 1.0)
        self._wrongs, self._wrongs_at_usable, self._wrongs_used = RunningSum(), HoldLast(0), Previous(0)

    def push(
        self, counts: Counts, per_m3: Floats, pressure_pa: Floats, spraying: Bools, flowing: Bools, glitch: Bools
    ) -> Boom:
        """Continue with frames: pulses per m³, pressure (Pa, NaN when unknown), whether it sprays by switch and meter,
        whether pulses come, and whether the board has refused one, shape (n,)."""
        step_s = counts.step_us * 1e-6
        known = np.isfinite(pressure_pa)
        root = np.sqrt(np.maximum(np.where(known, pressure_pa, 0.0), 0.0))
        idle_s = np.clip((counts.board_us - counts.flow.edge_us) * 1e-6, 0.0, step_s)
        end, whole, tail = self._root.push(np.where(spraying, root, 0.0), known | ~spraying, step_s, idle_s)
        integral = self._integral(whole)
        fresh = counts.flow.step > 0
        at_edge = self._at_edge(integral - tail, fresh | counts.broken)
        span = at_edge - self._edge_before(at_edge)
        on = spraying & flowing
        starts = on & ~self._on_before(on)
        since_us = counts.board_us - self._since(counts.board_us, starts)
        upset = counts.broken | (counts.step_us > TUNING.longest_frame_us) | (spraying & ~known)
        calm = counts.board_us - self._upset(counts.board_us, upset) > TUNING.settle_us
        jolt = self._jolts(root)
        expected = np.where(known, span * per_m3, np.nan)
        with np.errstate(divide="ignore", invalid="ignore"):
            log_ratio = np.where(on & fresh & (span > 0), np.log(counts.flow.step / expected), np.nan)
        settled = on & (since_us > self._mask.push(starts, since_us, log_ratio)) & calm
        usable = settled & fresh & known & (pressure_pa > TUNING.lowest_pa) & (span > 0)
        pulses = counts.flow.step.astype(np.float64)
        possible, jumped = self._possible(pulses, expected, usable)
        wrong = (settled & glitch) | (usable & ~possible)
        usable &= possible & ~glitch & ~self._wrong_before(wrong)
        doubtful = self._since_usable(wrong | jumped | counts.broken, usable)
        start = self._starts(starts.astype(np.int64))
        return Boom(pulses, expected, counts.flow.total, start, usable, end, settled, jolt, wrong, doubtful)

    def _jolts(self, root: Floats) -> Bools:
        """Whether √P jumps from one tenth of a second to the next."""
        roots = np.concatenate((self._past_roots, root))
        self._past_roots = roots[-len(self._past_roots) :]
        means = np.convolve(roots, np.full(self._together, 1.0 / self._together), "valid")
        before, now = means[: len(root)], means[self._together :]
        # With no pressure left every change is large against it.
        return np.asarray(np.abs(now - before) > TUNING.jolt * np.maximum(before, TUNING.floor_pa**0.5))

    def _since_usable(self, wrong: Bools, usable: Bools) -> Bools:
        """Whether anything was wrong since the usable frame before each frame."""
        total = self._wrongs(wrong.astype(np.int64))
        return np.asarray(total > self._wrongs_used(self._wrongs_at_usable(total, usable)))

    def _possible(self, pulses: Floats, expected: Floats, usable: Bools) -> tuple[Bools, Bools]:
        """Whether a rotor could have gone from the last usable frame's speed to this one's, and whether pulses seem to
        have been added."""
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(usable, pulses / expected, 0.0)
        held = self._ratio_before(ratio, usable)
        before = self._shifted(held)
        # One pulse more than fits is no proof of anything at a slow meter, hence the pulse and a half.
        possible = (before <= 0) | (ratio <= before * (1 + self._rise + 0.5 / np.maximum(pulses, 1.0)))
        jumped = (before > 0) & (
            ratio * (1 - TUNING.added_share) > before * (1 + TUNING.added_pulses / np.maximum(pulses, 1.0))
        )
        return np.asarray(possible), np.asarray(jumped)


class _Lagged:
    """First-order lag of TUNING.lag_s over frames of any length; holds where its input is not known."""

    def __init__(self) -> None:
        self._last = 0.0

    def push(self, values: Floats, known: Bools, step_s: Floats, idle_s: Floats) -> tuple[Floats, Floats, Floats]:
        """Lagged value at each frame's end, and its integrals over the frame and over the frame's last `idle_s`.

        Each of `values` holds for a whole frame.
        """
        keep = np.exp(-step_s / TUNING.lag_s)
        last = self._last
        ends = []
        # 0 + 1·(y - 0) holds.
        for value, kept in zip((values * known).tolist(), np.where(known, keep, 1.0).tolist(), strict=True):
            last = value + kept * (last - value)
            ends.append(last)
        end = np.array(ends, dtype=np.float64)
        before = np.concatenate(([self._last], end[:-1]))[: len(end)]
        self._last = last
        # y(t) = u - (u - y₀)·exp(-t/τ), integrated.
        target = np.where(known, values, end)
        short = (target - before) * TUNING.lag_s
        whole = target * step_s - short * (1.0 - keep)
        tail = target * idle_s - short * (np.exp((idle_s - step_s) / TUNING.lag_s) - keep)
        return end, whole, tail
