"""One gauge, read at the transducer's points and again at a catch test: how far it is off, and what that leaves open.

Zero is read without the gauge, so one that is off alike at every pressure pushes its points off the line through zero.
The line is fitted again with that error as a third unknown, known beforehand to be within what was told (least squares
with correlated errors: Aitken, Proc. R. Soc. Edinburgh 55 (1936) 42). An error that grows with the pressure is in the
line and in the catch alike: nothing of it is left in a ratio (JCGM 100:2008, 5.2.2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from host.calibrate.transducer import SCATTER
from host.calibrate.uncertainty import Component, pooled, rectangular, resolution
from host.calibrate.vessels import Gauge
from host.formulas import root_error

# Of the span, standard: how far a small transducer shows the same pressure again on another day. Half of what is
# assumed for bend and hysteresis together: common practice.
HYSTERESIS = 0.0015
_LEAST_PA = 1.0  # no gauge is better
_LEAST_SHARE = 0.1  # of a pressure, after its correction: more than that is no correction


@dataclass(frozen=True)
class GaugeFit:
    """True pressures are `offset_pa` + (1 + `slope`) × what the transducer shows (Pa); the gauge reads `gauge_pa` more.

    `gauge_u_pa` is the standard uncertainty of that, `scatter` the one of a point (Pa), with its degrees of freedom;
    `_weights` (3, points) are what 1 Pa at each point does to offset, slope and gauge.
    """

    offset_pa: float
    slope: float
    gauge_pa: float
    gauge_u_pa: float
    scatter: tuple[float, float]
    span_pa: float
    gauge: Gauge
    by_gauge: NDArray[np.bool_]
    _weights: NDArray[np.float64]

    def shown_at(self, gauge_pa: float) -> float:
        """What the transducer shows (Pa) where the gauge shows a pressure; of that, a tenth at the least."""
        return max(gauge_pa - self.gauge_pa - self.offset_pa, _LEAST_SHARE * gauge_pa) / (1.0 + self.slope)

    def true_at(self, shown_pa: float) -> float:
        """The pressure (Pa) where the transducer shows one; of that, a tenth at the least."""
        return max(self.offset_pa + (1.0 + self.slope) * shown_pa, _LEAST_SHARE * shown_pa)

    def parts(self, run_pa: float, caught_pa: float) -> list[Component]:
        """What is open about Q/√P of a run over that of a catch test read by this gauge; both pressures as shown."""
        run, caught = self.true_at(run_pa), self.true_at(caught_pa)
        weights = -0.5 * np.array([1.0 / run, run_pa / run, 1.0 / caught]) @ self._weights
        # What the fit does not see of the gauge's own error; the eye's habit at its marks is such an error, too.
        unseen = abs(float(weights[self.by_gauge].sum()) + 0.5 / caught)
        readings = math.hypot(*weights[self.by_gauge], 0.5 / caught, unseen)
        accuracy = rectangular(root_error(2.0 * unseen * self.gauge.accuracy_pa))
        again = 0.5 * HYSTERESIS * self.span_pa / run
        return [
            Component("gauge: its accuracy, where it does not cancel", accuracy, even=True),
            Component("gauge: reading", readings * resolution(self.gauge.step_pa)),
            Component("transducer: scatter of its points", math.hypot(*weights) * self.scatter[0], self.scatter[1]),
            Component("transducer: hysteresis (assumed)", again),
        ]


def fit_gauge(shown_pa: Sequence[float], true_pa: Sequence[float], gauge: Gauge, span_pa: float) -> GaugeFit:
    """Fit the points of a calibration: what the transducer shows (Pa) at pressures by the gauge, 0 without it."""
    shown, pressure = np.array(shown_pa), np.array(true_pa)
    by_gauge, spare = pressure > 0.0, len(pressure) - 2
    scatter, degrees = pooled(0.0, 0.0, SCATTER * span_pa)
    fit = _fit(shown, pressure, by_gauge, gauge, scatter)
    if spare:
        # As much more, or less, than reading, gauge and the assumed scatter make (Birge, Phys. Rev. 40 (1932) 207).
        scatter, degrees = pooled(scatter * math.sqrt(fit.misfit / spare), spare, scatter)
        fit = _fit(shown, pressure, by_gauge, gauge, scatter)
    offset, slope, off = map(float, fit.values)
    return GaugeFit(offset, slope, off, fit.gauge_u, (scatter, degrees), span_pa, gauge, by_gauge, fit.weights)


@dataclass(frozen=True)
class _Fit:
    """Offset, slope and gauge; weights of the points in each; the gauge's uncertainty; the weighted sum of squares."""

    values: NDArray[np.float64]
    weights: NDArray[np.float64]
    gauge_u: float
    misfit: float


def _fit(
    shown: NDArray[np.float64], pressure: NDArray[np.float64], by_gauge: NDArray[np.bool_], gauge: Gauge, scatter: float
) -> _Fit:
    """What is known beforehand of the gauge is one more point: nothing, give or take what it may be off."""
    step = resolution(gauge.step_pa)
    off = math.hypot(rectangular(gauge.accuracy_pa), step, _LEAST_PA)
    size = np.append(np.where(by_gauge, math.hypot(scatter, step), scatter), off)
    rows = np.vstack([np.stack([np.ones_like(shown), shown, by_gauge.astype(float)], axis=1), [0.0, 0.0, 1.0]])
    found = np.linalg.pinv(rows / size[:, None])
    seen = np.append(pressure - shown, 0.0) / size
    values = found @ seen
    left = seen - rows @ values / size
    return _Fit(values, (found / size)[:, :-1], float(np.linalg.norm(found[2])), float(left @ left))
