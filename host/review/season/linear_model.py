"""How likely a series is under a sum of effects whose sizes are not known: a linear model with normal priors.

The effects' sizes are integrated out, so a richer explanation has to earn its effects (MacKay, Information Theory,
Inference, and Learning Algorithms, 2003, chapter 28: "Occam factor"; the formulas are those of Bayesian linear
regression, Gelman et al., Bayesian Data Analysis, section 14.8).
"""

from __future__ import annotations

import numpy as np

from host.pipeline.columns import Floats
from host.review.season.candidates import Candidates


class LinearModel:
    """Effects `columns` (n, p) with standard deviations `widths` (p,) of their sizes, over whitened values y (n,)."""

    def __init__(self, y: Floats, columns: Floats, widths: Floats) -> None:
        self.y = y
        precision = columns.T @ columns + np.diag(widths**-2.0)
        self._factor = np.linalg.cholesky(precision)
        self._basis = np.linalg.solve(self._factor, columns.T)
        self._seen = self._basis @ y
        self._widths = widths

    @property
    def evidence(self) -> float:
        """Logarithm of the likelihood of y, sizes integrated out, less what all models of y share."""
        quadratic = float(self.y @ self.y - self._seen @ self._seen)
        return -0.5 * quadratic - float(np.log(np.diag(self._factor)).sum() + np.log(self._widths).sum())

    def gains(self, further: Candidates) -> tuple[Floats, Floats]:
        """What each further effect would add to the evidence by itself, and its most likely size (m,)."""
        covered = further.onto(self._basis)
        own = np.maximum(further.own - (covered**2).sum(axis=0), 0.0)
        along = further.along - covered.T @ self._seen
        size = along / (own + further.widths**-2.0)
        return 0.5 * along * size - 0.5 * np.log1p(further.widths**2 * own), size

    def sizes(self) -> tuple[Floats, Floats]:
        """The effects' most likely sizes (p,) and their covariance (p, p)."""
        inverse = np.linalg.inv(self._factor)
        covariance = inverse.T @ inverse
        return np.linalg.solve(self._factor.T, self._seen), covariance
