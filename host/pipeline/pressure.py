"""Pressure from the transducer's counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firmware_protocol.messages import MEAN_STEPS
from host.frames import Event, Frames
from host.pipeline.columns import Bools, Floats
from host.rig import PressureSensor


@dataclass(frozen=True)
class Pressures:
    """Over each frame, in Pa, shape (n,); NaN without a transducer, outside its live range, or at an unknown scale."""

    mean_pa: Floats
    min_pa: Floats
    max_pa: Floats


class PressureReading:
    """Counts to Pa, by the full scale that the board's identity line gives; before one no pressure is known.

    A reading beyond the transducer's live range is no pressure: the wire is open or shorted. Nor is one that
    contradicts itself.
    """

    def __init__(self, sensor: PressureSensor | None) -> None:
        self._sensor = sensor
        self._full_scale = float("nan")  # boards differ: nothing is taken for granted

    def push(self, frames: Frames, events: list[Event], fitted: Bools) -> Pressures:
        """Pressures of `frames`, shape (n,); `fitted`: where rig and board have a transducer."""
        full_scale = np.full(len(frames), self._full_scale)
        for event in events:
            if event.kind == "identity" and event.detail.get("adc_full_scale"):
                self._full_scale = float(event.detail["adc_full_scale"])
                full_scale[event.before_frame :] = self._full_scale
        fitted = fitted & believable(frames)
        return Pressures(
            self._pressure(frames["pressure_mean"] / MEAN_STEPS, full_scale, fitted),
            self._pressure(frames["pressure_min"].astype(np.float64), full_scale, fitted),
            self._pressure(frames["pressure_max"].astype(np.float64), full_scale, fitted),
        )

    def _pressure(self, counts: npt.NDArray[np.float64], full_scale: Floats, fitted: Bools) -> Floats:
        if self._sensor is None:
            return np.full(len(counts), np.nan)
        fraction = counts / full_scale
        live = fitted & (fraction >= self._sensor.open_below) & (fraction <= self._sensor.short_above)
        return np.where(live, self._sensor.pressure_pa(counts, full_scale), np.nan)


def believable(frames: Frames) -> Bools:
    """Where the mean lies between the least and the greatest reading of its report, as it always does
    (PROTOCOL.md section 5), to one count. Shape (n,).
    """
    mean = frames["pressure_mean"] / MEAN_STEPS
    sure: Bools = (mean >= frames["pressure_min"] - 1.0) & (mean <= frames["pressure_max"] + 1.0)
    return sure
