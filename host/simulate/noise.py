"""Lags and random processes on an even time grid, with state carried from block to block."""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Number = TypeVar("Number", np.float64, np.complex128)

_NOTHING = 1e-18  # a factor that no longer shows in a double


def grid(step_s: float, first: int, count: int) -> Floats:
    """`count` multiples of `step_s` (s), from the `first` one on."""
    return np.asarray(step_s * np.arange(first, first + count), dtype=np.float64)


def recursion(values: npt.NDArray[Number], keep: Any, before: Any) -> npt.NDArray[Number]:
    """y with y[n] = values[n] + keep · y[n-1] and y[-1] = `before`; |keep| < 1. Shape (n,).
    A complex `keep` needs complex values.

    Sums over 1, 2, 4, … elements in turn (Hillis and Steele, "Data parallel algorithms", CACM 29, 1986): a loop over
    the logarithm of the length instead of over the elements.
    """
    sums = values.copy()
    if len(sums):
        sums[0] += keep * before
    reach = 1
    while reach < len(sums) and abs(keep) > _NOTHING:
        sums[reach:] += keep * sums[:-reach]
        keep *= keep
        reach *= 2
    return sums


class Lag:
    """A first-order lag, started in rest at `start`; of unity gain, so it keeps the sum of what passes."""

    def __init__(self, time_constant_s: float, step_s: float, start: float = 0.0) -> None:
        self._keep = float(np.exp(-step_s / time_constant_s)) if time_constant_s > 0 else 0.0
        self._last = start

    def __call__(self, values: Floats) -> Floats:
        """The lagged values, shape (n,)."""
        lagged = recursion((1.0 - self._keep) * values, self._keep, self._last)
        self._last = float(lagged[-1])
        return lagged


class Resonance:
    """A damped oscillator driven by the input; white noise gives an output of the same standard deviation.

    y[n] = -a1·y[n-1] - a2·y[n-2] + gain·x[n] with a pair of complex poles, taken apart into partial fractions.
    """

    def __init__(self, frequency_hz: float, damping: float, step_s: float) -> None:
        self._pole = complex(np.exp((1j - damping) * 2 * np.pi * frequency_hz * step_s))
        a1, a2 = -2 * self._pole.real, abs(self._pole) ** 2
        # Variance of an AR(2) process: Box, Jenkins, Reinsel, Time Series Analysis, 3.2.4.
        variance = (1 + a2) / ((1 - a2) * ((1 + a2) ** 2 - a1 * a1))
        self._part = self._pole / (2j * self._pole.imag) / variance**0.5
        self._last = 0j

    def __call__(self, values: Floats) -> Floats:
        """The oscillator's answer, shape (n,)."""
        turning = recursion(values.astype(np.complex128), self._pole, self._last)
        self._last = complex(turning[-1])
        return np.asarray(2.0 * (self._part * turning).real, dtype=np.float64)


def wander(rng: np.random.Generator, count: int, step_s: float, time_constant_s: float, spread: float) -> Floats:
    """A stationary first-order process (Ornstein-Uhlenbeck, sampled exactly) of standard deviation `spread`."""
    if spread == 0 or count == 0:
        return np.zeros(count)
    keep = float(np.exp(-step_s / time_constant_s))
    shocks = rng.standard_normal(count) * (spread * np.sqrt(1 - keep * keep))
    return recursion(shocks, keep, spread * float(rng.standard_normal()))
