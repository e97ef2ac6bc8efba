"""How the pressure answers the boom, and what that says about the cause of a change.

With a spring-loaded bypass the pressure falls in a straight line with the boom's flow: P = P₀·(1 + D·(1 - Q/Q₀)), with
the droop D between the boom shut and the whole boom spraying. So a boom that takes less raises the pressure twice: in
the moment in which it happens, and by as much less when the spray is shut off. A meter that reads low does neither.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from host.pipeline.columns import Floats
from host.pipeline.faults.tuning import TUNING

_DROOPS = np.linspace(0.0, 0.6, 121)
CAUSES = ("orifice", "meter", "transducer")


@dataclass(frozen=True)
class Moved:
    """Change of ln P in the moment in which ln c went from `before` to `after` (both against the healthy boom)."""

    before: float
    after: float
    by: float
    sd: float  # that it would have by itself


@dataclass(frozen=True)
class Turned:
    """Rise of ln P from spraying to shut, at either end of a pass, while ln c was `change` off the healthy boom."""

    change: float
    rise: float
    sd: float


class Droop:
    """Learned from what the pressure does at both ends of every healthy pass."""

    def __init__(self) -> None:
        self._turns: list[tuple[float, Callable[[], float]]] = []  # the rise, and what gives its uncertainty
        self._full: list[tuple[float, float]] = []  # ln P while spraying, and the rise: those of the highest pressure

    def learn(self, rise: float, sd: Callable[[], float], log_p: float = 0.0) -> None:
        """Take in one end of a healthy pass: rise of ln P from spraying, when it was `log_p`, to shut; `sd` gives its
        standard uncertainty, which most passes are never asked for."""
        self._turns = [*self._turns[1 - TUNING.turns_kept :], (rise, cache(sd))]
        self._full = sorted((*self._full, (log_p, rise)))[-TUNING.turns_kept :]

    def comes_back(self, rise: float, log_p: float) -> bool | None:
        """Whether a pressure that is low while spraying, at `log_p`, is there again with the boom shut: ln P rises by
        more than it did when it was not low; None: it is low no more. A strainer that closes slowly does not make its
        own rise the usual one."""
        if not self._full:
            return rise > math.log1p(self.value[0]) + TUNING.returns
        highest = self._full[-1][0]
        usual = np.median([one for at, one in self._full if at > highest - 0.5 * TUNING.returns])
        return bool(rise > usual + TUNING.returns) if log_p < highest - TUNING.returns else None

    @property
    def behind_valve(self) -> bool:
        """Whether the transducer sits behind the boom valve, so that the ends of passes say nothing."""
        return bool(self._turns) and float(np.median([rise for rise, _ in self._turns])) < TUNING.behind_valve_rise

    @property
    def before_valve(self) -> bool:
        """Whether it was seen that the pressure stays when the boom is shut."""
        return bool(self._turns) and not self.behind_valve

    @property
    def value(self) -> tuple[float, float]:
        """Droop and its standard uncertainty; NaN when the transducer sits behind the boom valve."""
        if self.behind_valve:
            return math.nan, math.nan
        weights = self._weights()
        mean = float(weights @ _DROOPS)
        return mean, float(weights @ (_DROOPS - mean) ** 2) ** 0.5

    def likelihoods(self, moves: list[Moved], turns: list[Turned]) -> dict[str, float]:
        """How likely all this is if the boom's opening, the meter or the transducer has changed, up to a factor.

        The droop is the same throughout and is known only as well as it has been learned: summed over all its values.
        """
        return {
            cause: float(
                self._weights()
                @ np.prod(
                    [np.ones(len(_DROOPS))]
                    + [_density(one.by - _moved(cause, one), one.sd) for one in moves]
                    + [_density(one.rise - _rise(cause, one.change), one.sd) for one in turns if not self.behind_valve],
                    axis=0,
                )
            )
            for cause in CAUSES
        }

    def answers(self, one: Moved) -> bool:
        """Whether any of the causes makes ln P move as much. None does, and it was a hand on the knob, or the pump."""
        weights = self._weights()
        likely = weights > 0.01 * weights.max()
        off = min(np.abs(one.by - _moved(cause, one))[likely].min() for cause in CAUSES)
        return bool(off < TUNING.answer_sigmas * one.sd + TUNING.answer_share * abs(one.by))

    def _weights(self) -> Floats:
        usual = np.exp(-0.5 * ((_DROOPS - TUNING.usual_droop) / TUNING.usual_droop_sd) ** 2)
        stiff = 1.0 * (TUNING.usual_droop >= _DROOPS)
        weights = (1.0 - TUNING.stiff_share) * usual / usual.sum() + TUNING.stiff_share * stiff / stiff.sum()
        if not self.behind_valve:
            for rise, sd in self._turns:
                weights = weights * _density(rise - np.log1p(_DROOPS), sd())
                weights /= weights.sum()
        return np.asarray(weights / weights.sum())


def _moved(cause: str, one: Moved) -> Floats:
    if cause == "orifice":
        return _answer(one.after) - _answer(one.before)
    return np.full(len(_DROOPS), 0.0 if cause == "meter" else -2.0 * (one.after - one.before))


def _rise(cause: str, change: float) -> Floats:
    if cause == "orifice":
        return np.asarray(np.log1p(_DROOPS) - _answer(change))
    # A transducer off by a fixed amount makes the same rise look smaller or larger.
    return np.log1p(_DROOPS * (math.exp(2.0 * change) if cause == "transducer" else 1.0))


def _answer(change: float) -> Floats:
    """ln P against the healthy boom's when its opening has changed by `change` (of ln c), for each droop."""
    taken = _DROOPS * math.exp(change)
    root = 0.5 * (np.sqrt(taken * taken + 4.0 * (1.0 + _DROOPS)) - taken)  # x² + D·c·x - (1 + D) = 0, with x = √P
    return np.asarray(2.0 * np.log(root))


def _density(off: Floats, sd: float) -> Floats:
    z2 = np.minimum((off / sd) ** 2, TUNING.far_sigmas2)
    wild = TUNING.wild_share / TUNING.wild_wider * np.exp(-0.5 * z2 / TUNING.wild_wider**2)
    return np.asarray(((1.0 - TUNING.wild_share) * np.exp(-0.5 * z2) + wild) / sd)
