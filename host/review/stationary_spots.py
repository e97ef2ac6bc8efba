"""Spots that were sprayed while standing: where, when, how much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline import Pass
from host.review.track import Track

_SAME_SPOT_M = 0.5  # interrupted by less travel than this it is one spot
_LEAST_S = 0.5  # less is the moment of setting off


@dataclass(frozen=True)
class Spot:
    """One spot. `into_pass_m` is how far from the start of pass `number`, None when it lies outside every pass."""

    start_s: float
    duration_s: float
    volume_m3: float
    number: int | None
    into_pass_m: float | None


def standing_spots(track: Track, passes: list[Pass]) -> list[Spot]:
    """The spots of half a second or more, in order of time."""
    if not len(track):
        return []
    standing = np.flatnonzero(track.stationary_s > 0)
    if not len(standing):
        return []
    apart = np.flatnonzero(np.diff(track.distance_m[standing]) > _SAME_SPOT_M) + 1
    spots = []
    for group in np.split(standing, apart):
        first, last = int(group[0]), int(group[-1])
        seconds = float(track.stationary_s[first : last + 1].sum())
        if seconds < _LEAST_S:
            continue
        start_s = float(track.host_s[max(first - 1, 0)])
        volume = float(track.stationary_m3[first : last + 1].sum())
        spots.append(Spot(start_s, seconds, volume, *_place(track, passes, first)))
    return spots


def _place(track: Track, passes: list[Pass], frame: int) -> tuple[int | None, float | None]:
    at_s = float(track.host_s[frame])
    for one in passes:
        if one.start_s <= at_s <= one.end_s:
            start = track.between(one.start_s, one.end_s).start
            return one.number, float(track.distance_m[frame] - track.distance_m[max(start - 1, 0)])
    return None, None
