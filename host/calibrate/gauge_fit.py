"""The line through a transducer's points, and how far the gauge that they were read from is off.

Zero is read without the gauge, so one that is off alike at every pressure pushes its points off the line through zero.
The line is fitted with that error as a third unknown, known beforehand to be within what was told (least squares with
correlated errors: Aitken, Proc. R. Soc. Edinburgh 55 (1936) 42), so that no other weights of the points make it surer,
and one point more never less sure. An error that grows with the pressure no point shows: it is in the line. In a catch
test by the same gauge it is alike, and nothing of it is left in a ratio (JCGM 100:2008, 5.2.2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from host.calibrate.uncertainty import (
    LEVEL_OF_CONFIDENCE,
    Component,
    pooled,
    rectangular,
    resolution,
    seen_of,
    student_factor,
)
from host.calibrate.vessels import Gauge
from host.formulas import root_error

# Scatter about the line (standard, of the span) that is assumed of a small transducer, bend and hysteresis with it, and
# counts with what the points show: common practice.
SCATTER = 0.003
# Of the span, standard: how far a small transducer shows the same pressure again on another day. Half of what is
# assumed for bend and hysteresis together: common practice.
HYSTERESIS = 0.0015
_NORMAL = student_factor(LEVEL_OF_CONFIDENCE, math.inf)
_LEAST_PA = 1.0  # no gauge is better
_LEAST_SHARE = 0.1  # of a pressure, after its correction: more than that is no correction


@dataclass(frozen=True)
class GaugeFit:
    """True pressures are `offset_pa` + (1 + `slope`) × what the transducer shows (Pa); the gauge reads `gauge_pa` more.

    `gauge_u_pa` is the standard uncertainty of that, `scatter` the one of a point (Pa), with its degrees of freedom,
    `scatter_seen` how much of it the points showed;
    `_weights` (3, points) are what 1 Pa at each point does to offset, slope and gauge.
    """

    offset_pa: float
    slope: float
    gauge_pa: float
    gauge_u_pa: float
    scatter: tuple[float, float]
    scatter_seen: float
    span_pa: float
    gauge: Gauge
    highest_pa: float
    by_gauge: NDArray[np.bool_]
    _weights: NDArray[np.float64]

    def weights_at(self, shown_pa: float) -> NDArray[np.float64]:
        """How far 1 Pa more at each point lifts the line where the transducer shows a pressure (its hat vector)."""
        return np.array([1.0, shown_pa, 0.0]) @ self._weights

    def line_parts(self, pressure_pa: float) -> list[Component]:
        """What is open about `fit_line` at a pressure (Pa): the gauge's accuracy, its reading, the scatter."""
        shown_pa = (pressure_pa - self.offset_pa) / (1.0 + self.slope)
        weights = self.weights_at(shown_pa)
        alike = abs(float(weights[self.by_gauge].sum()))
        # Without the zero no point tells an error alike everywhere from the transducer's own.
        grows = alike if self.by_gauge.all() else pressure_pa / self.highest_pa
        accuracy = math.hypot(alike, grows) * rectangular(self.gauge.accuracy_pa)
        # Once for each reading by itself, once as the eye's habit, as with a jug.
        readings = math.hypot(*weights[self.by_gauge], alike)
        return [
            Component("accuracy of the gauge", accuracy, shared=self.gauge.shared, even=True),
            Component("reading of the gauge", readings * resolution(self.gauge.step_pa)),
            Component(
                "scatter about the line, bend and hysteresis",
                math.hypot(*weights) * self.scatter[0],
                self.scatter[1],
                seen=math.hypot(*weights) * self.scatter_seen,
            ),
        ]

    def shown_at(self, gauge_pa: float) -> float:
        """What the transducer shows (Pa) where the gauge shows a pressure; of that, a tenth at the least."""
        return max(gauge_pa - self.gauge_pa - self.offset_pa, _LEAST_SHARE * gauge_pa) / (1.0 + self.slope)

    def true_at(self, shown_pa: float) -> float:
        """The pressure (Pa) where the transducer shows one; of that, a tenth at the least."""
        return max(self.offset_pa + (1.0 + self.slope) * shown_pa, _LEAST_SHARE * shown_pa)

    def parts(self, run_pa: float, caught_pa: float, catches: int = 1) -> list[Component]:
        """What is open about Q/√P of a run over that of a catch test read by this gauge; both pressures as shown.

        The gauge was set anew for each of the `catches` at that pressure.
        """
        run, caught = self.true_at(run_pa), self.true_at(caught_pa)
        weights = -0.5 * np.array([1.0 / run, run_pa / run, 1.0 / caught]) @ self._weights
        # What the fit does not see of the gauge's own error; the eye's habit at its marks is such an error, too.
        unseen = abs(float(weights[self.by_gauge].sum()) + 0.5 / caught)
        readings = math.hypot(*weights[self.by_gauge], 0.5 / caught / math.sqrt(catches), unseen)
        accuracy = rectangular(root_error(2.0 * unseen * self.gauge.accuracy_pa))
        again = 0.5 * HYSTERESIS * self.span_pa / run
        return [
            Component("gauge: its accuracy, where it does not cancel", accuracy, even=True),
            Component("gauge: reading", readings * resolution(self.gauge.step_pa)),
            Component("transducer: scatter of its points", math.hypot(*weights) * self.scatter[0], self.scatter[1]),
            Component("transducer: hysteresis (assumed)", again),
        ]


def fit_line(shown_pa: Sequence[float], true_pa: Sequence[float], gauge: Gauge, span_pa: float) -> GaugeFit:
    """The line for a transducer, from what it showed and the gauge read (Pa).

    Of what the gauge may be off, one half (of the variance) is alike at every pressure, which the points show beside
    the zero; the other half grows to the highest of them, which they do not show. Each error weighs by what it adds to
    the ±, so that a point that agrees never widens it: an even one less, a scatter of few degrees of freedom more.
    """
    half = replace(gauge, accuracy_pa=gauge.accuracy_pa / math.sqrt(2.0))
    even = replace(half, accuracy_pa=half.accuracy_pa * LEVEL_OF_CONFIDENCE * math.sqrt(3.0) / _NORMAL)
    return _fitted(shown_pa, true_pa, half, span_pa, even)


def fit_gauge(shown_pa: Sequence[float], true_pa: Sequence[float], gauge: Gauge, span_pa: float) -> GaugeFit:
    """Fit the points of a calibration: what the transducer shows (Pa) at pressures by the gauge, 0 without it."""
    return _fitted(shown_pa, true_pa, gauge, span_pa)


def _fitted(
    shown_pa: Sequence[float], true_pa: Sequence[float], gauge: Gauge, span_pa: float, weighed: Gauge | None = None
) -> GaugeFit:
    shown, pressure = np.array(shown_pa), np.array(true_pa)
    by_gauge, spare = pressure > 0.0, len(pressure) - 2
    scatter, degrees = pooled(0.0, 0.0, SCATTER * span_pa)
    seen = 0.0
    if spare:
        # As much more, or less, than reading, gauge and the assumed scatter make (Birge, Phys. Rev. 40 (1932) 207).
        misfit = _fit(shown, pressure, by_gauge, gauge, scatter).misfit
        own = scatter * math.sqrt(misfit / spare)
        seen = seen_of(own, spare)
        scatter, degrees = pooled(own, spare, scatter)
    wide = 1.0 if weighed is None else student_factor(LEVEL_OF_CONFIDENCE, degrees) / _NORMAL
    fit = _fit(shown, pressure, by_gauge, weighed or gauge, wide * scatter)
    offset, slope, off = map(float, fit.values)
    highest = float(pressure.max())
    return GaugeFit(
        offset, slope, off, fit.gauge_u, (scatter, degrees), seen, span_pa, gauge, highest, by_gauge, fit.weights
    )


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
