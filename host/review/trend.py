"""A series over a season cut into stretches, each with a straight line of its own.

Least squares over all ways of cutting by dynamic programming (Bellman; Bai & Perron, Journal of Applied Econometrics
18, 2003, section 3); the number of cuts by the criterion of Liu, Wu & Zidek (Statistica Sinica 7, 1997; constants from
memory), a stricter kin of Schwarz's, in which the place of a cut counts as a parameter. A further cut must better it by
6, "strong" evidence (Kass & Raftery, Journal of the American Statistical Association 90, 1995).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from host.calibrate.uncertainty import student_factor
from host.pipeline.columns import Floats

LEAST_POINTS = 4  # in a stretch
_STRONG = 6.0
_LONE = 6.0
_MOST_CUTS = 8
_LINE_PARAMETERS = 2


@dataclass(frozen=True)
class Stretch:
    """Points `first` to `last` (included): the line's value at either end, its slope, and their standard errors."""

    first: int
    last: int
    begin: float
    end: float
    begin_u: float
    end_u: float
    slope: float
    slope_u: float
    degrees: int

    @property
    def change(self) -> float:
        """End less begin."""
        return self.end - self.begin

    def slopes(self) -> bool:
        """Whether the slope differs from none, at 99 % (Student's t: NIST/SEMATECH e-Handbook, 1.3.5.2)."""
        return abs(self.slope) > student_factor(0.99, max(self.degrees, 1)) * self.slope_u


def lone_runs(y: Floats, least: float) -> list[int]:
    """Places that stand out from those before and those behind, three each, to the same side; rising.

    By more than `least` and six times the scatter between neighbours (by its median, so that they do not hide each
    other), repeated until none is left: up to three in a row are found. A step is not: it agrees with one side.
    """
    kept = list(range(len(y)))
    while len(kept) > 2 * LEAST_POINTS - 2:
        values = y[kept]
        limit = max(least, _LONE * (1.0 + 4.0 / len(kept)) * scatter_of(values))
        out = [float(_apart(values, place)) for place in range(len(kept))]
        worst = int(np.argmax(out))
        if out[worst] <= limit:
            break
        del kept[worst]
    return sorted(set(range(len(y))) - set(kept))


def _apart(values: Floats, place: int) -> float:
    before, after = values[max(place - 3, 0) : place], values[place + 1 : place + 4]
    apart = [values[place] - np.median(side) for side in (before, after) if len(side)]
    same_side = len({bool(one > 0) for one in apart}) == 1
    return float(min(map(abs, apart))) if same_side else 0.0


def scatter_of(y: Floats) -> float:
    """Standard deviation from the differences of neighbours by their median, blind to steps and single points.

    1.4826 is the normal distribution's (Rousseeuw & Croux, Journal of the American Statistical Association 88, 1993).
    """
    return 1.4826 * float(np.median(np.abs(np.diff(y)))) / math.sqrt(2.0) if len(y) > 1 else 0.0


def stretches(x: Floats, y: Floats) -> list[Stretch]:
    """Cut the series y over x (rising, shape (n,)) as often as the data strongly asks for.

    Empty for fewer than four points. Standard errors rest on the residuals of the whole cut series.
    """
    n = len(x)
    if n < LEAST_POINTS:
        return []
    cost = _costs(x, y)
    best, back = _best_cuts(cost, n)
    floor = 1e-18 * max(float(np.ptp(y)) ** 2, 1e-12) * n  # so that a series without noise has a logarithm

    def criterion(cuts: int) -> float:
        parameters = (cuts + 1) * _LINE_PARAMETERS + cuts
        if parameters >= n:
            return math.inf
        penalty: float = parameters * 0.299 * math.log(n) ** 2.1
        return n * math.log(max(best[cuts], floor) / (n - parameters)) + penalty

    chosen = 0
    for cuts in range(1, len(best)):
        if math.isfinite(best[cuts]) and criterion(cuts) < criterion(chosen) - _STRONG:
            chosen = cuts
    ends = [n]
    for cuts in range(chosen, 0, -1):
        ends.append(int(back[cuts][ends[-1]]))
    bounds = [0, *reversed(ends)]
    degrees = max(n - (chosen + 1) * _LINE_PARAMETERS, 1)
    sigma = math.sqrt(max(best[chosen], 0.0) / degrees)
    return [_line(x, y, a, b, sigma, degrees) for a, b in itertools.pairwise(bounds)]


def _costs(x: Floats, y: Floats) -> Floats:
    """Residual sum of squares of a line through points a..b-1, shape (n + 1, n + 1); infinite for too few."""
    n = len(x)
    x, y = x - x.mean(), y - y.mean()
    one, sx, sy, sxx, sxy, syy = (
        np.concatenate(([0.0], np.cumsum(v))) for v in (np.ones(n), x, y, x * x, x * y, y * y)
    )
    a, b = np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij")

    def over(total: Floats) -> Floats:
        return np.asarray(total[b] - total[a])

    count = np.maximum(over(one), 1.0)
    dxx = over(sxx) - over(sx) ** 2 / count
    dxy = over(sxy) - over(sx) * over(sy) / count
    dyy = over(syy) - over(sy) ** 2 / count
    rss = np.maximum(dyy - np.where(dxx > 0, dxy**2 / np.where(dxx > 0, dxx, 1.0), 0.0), 0.0)
    return np.where(b - a >= LEAST_POINTS, rss, np.inf)


def _best_cuts(cost: Floats, n: int) -> tuple[list[float], list[Floats]]:
    """Least cost of the whole series with 0, 1, … cuts, and where the last cut of each beginning lies."""
    reach = cost[0]
    best: list[float] = [float(reach[n])]
    back: list[Floats] = [np.zeros(n + 1)]
    for _ in range(min(_MOST_CUTS, n // LEAST_POINTS - 1)):
        whole = reach[:, None] + cost
        back.append(np.argmin(whole, axis=0).astype(np.float64))
        reach = np.min(whole, axis=0)
        best.append(float(reach[n]))
    return best, back


def _line(x: Floats, y: Floats, first: int, end: int, sigma: float, degrees: int) -> Stretch:
    xs, ys = x[first:end], y[first:end]
    centre, spread = float(xs.mean()), float(((xs - xs.mean()) ** 2).sum())
    slope = float(((xs - centre) * ys).sum() / spread) if spread > 0 else 0.0
    slope_u = sigma / math.sqrt(spread) if spread > 0 else 0.0

    def at(place: float) -> tuple[float, float]:
        # Standard error of a line at a place: NIST/SEMATECH e-Handbook, 2.3.6.7.
        return float(ys.mean()) + slope * (place - centre), math.hypot(
            sigma / math.sqrt(len(xs)), slope_u * (place - centre)
        )

    (begin, begin_u), (finish, end_u) = at(float(xs[0])), at(float(xs[-1]))
    return Stretch(first, end - 1, begin, finish, begin_u, end_u, slope, slope_u, degrees)
