"""Rate along the distance of a pass: the strip, its coefficient of variation, and sections off target.

The shape comes from flow and speed, which are taken between edges and have no counting step; the level is brought to
the pass's counted volume and distance, which have no error of integration.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline import Pass
from host.pipeline.columns import Bools, Floats
from host.review.track import Track
from host.rig import Target

BIN_M = 1.0
"""Length of a bin. At a walk a metre takes about a second: some ten frames, and several times the lag of a small
meter's rotor, so neighbouring bins are told apart; shorter ones would show the rotor and not the ground."""
SETTLE_S = 0.5  # after spraying begins the rotor still gathers speed (as in host.pipeline.rate)
_LEAST_BINS = 4


@dataclass(frozen=True)
class Strip:
    """One pass in bins: `edges_m` from the pass's start, shape (n + 1,); `rate_m3_m2`, shape (n,).

    `variation` is the coefficient of variation s/mean of the bins, s with n - 1 (NIST/SEMATECH e-Handbook of
    Statistical Methods, 1.3.5.6; ISO 3534-1, 2.38), NaN for fewer than four bins.
    """

    number: int
    edges_m: Floats
    rate_m3_m2: Floats
    variation: float
    counted: Bools  # (n,): bins of which some ground counts as off target in the figures of run and pass


@dataclass(frozen=True)
class Section:
    """A part of a pass off target, as far as bins tell: metres from the pass's start, mean rate, volume too much."""

    number: int
    from_m: float
    to_m: float
    rate_m3_m2: float
    excess_m3: float  # against the target; negative: missing


def coefficient_of_variation(values: Floats) -> float:
    """s/mean with n - 1 degrees of freedom; NaN for fewer than two values or a mean that is not above zero."""
    if len(values) < 2 or not float(np.mean(values)) > 0:
        return float("nan")
    return float(np.std(values, ddof=1) / np.mean(values))


def strip_of(track: Track, one: Pass, swath_m: float) -> Strip:
    """The pass in bins of BIN_M; what is left over at its end joins the last bin when it is shorter than half of one.

    The first half second after the spray opens is left out: it cannot be measured. The strip begins behind it.
    """
    here = track.between(one.start_s, one.end_s)
    board_s = track.board_s[here]
    before_s = track.board_s[max(here.start - 1, 0)] if here.stop > here.start else 0.0
    step_s = np.diff(board_s, prepend=before_s)
    step_m = track.ground_m[here]
    applying = track.spraying[here] & track.moving[here] & (step_m > 0)  # not where water and ground are apart
    step_m3 = np.where(applying, track.flow_m3_s[here] * step_s, 0.0)
    if not len(step_m) or step_m.sum() <= 0 or step_m3.sum() <= 0:
        return Strip(one.number, np.zeros(1), np.empty(0), float("nan"), np.empty(0, dtype=np.bool_))
    along = np.cumsum(step_m) * (one.distance_m / step_m.sum())
    opened = applying & ~np.concatenate(([False], applying[:-1]))
    since_s = board_s - np.maximum.accumulate(np.where(opened, board_s, before_s))
    settled = applying & (since_s >= SETTLE_S)
    if not settled.any():
        return Strip(one.number, np.zeros(1), np.empty(0), float("nan"), np.empty(0, dtype=np.bool_))
    begin = float(along[int(np.argmax(settled))])
    edges = np.arange(begin, one.distance_m + BIN_M, BIN_M)
    edges = np.append(edges[edges < one.distance_m - BIN_M / 2], one.distance_m)
    poured = _shared(edges, along, np.where(settled, step_m3, 0.0))
    walked = _shared(edges, along, np.where(settled, step_m, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = poured / walked / swath_m
    known = np.isfinite(rate)
    level = (one.volume_m3 / one.distance_m) / (step_m3[settled].sum() / step_m[settled].sum())
    rate = rate * (level if 0.8 < level < 1.25 else 1.0)
    enough = int(known.sum()) >= _LEAST_BINS
    variation = coefficient_of_variation(rate[known]) if enough else float("nan")
    return Strip(one.number, edges, rate, variation, _shared(edges, along, track.off_target_s[here]) > 0)


def _shared(edges: Floats, along: Floats, amounts: Floats) -> Floats:
    """`amounts` of steps that end at `along` in bins between `edges`: a step over an edge is in both by its length."""
    so_far = np.concatenate(([0.0], np.cumsum(amounts)))
    return np.diff(np.interp(edges, np.concatenate(([0.0], along)), so_far))


def sections_off_target(strip: Strip, target: Target, swath_m: float) -> list[Section]:
    """Neighbouring bins that are above the target's band, or below it, taken together.

    A section of which nothing counts as off target is left out: that goes by the rate over two seconds, which is known
    better than that of a bin.
    """
    side = np.zeros(len(strip.rate_m3_m2), dtype=int)
    side[strip.rate_m3_m2 > target.high_m3_m2] = 1
    side[strip.rate_m3_m2 < target.low_m3_m2] = -1  # a bin without a rate is on neither side
    bounds = np.flatnonzero(np.diff(np.concatenate(([0], side, [0]))))
    found = []
    for first, last in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True):
        if not side[first] or not strip.counted[first:last].any():
            continue
        length = np.diff(strip.edges_m[first : last + 1])
        rate = float(np.average(strip.rate_m3_m2[first:last], weights=length))
        excess = float((rate - target.rate_m3_m2) * length.sum() * swath_m)
        found.append(Section(strip.number, float(strip.edges_m[first]), float(strip.edges_m[last]), rate, excess))
    return found
