"""Whether a fall of c is a nozzle that clogs, or a bubble on its way through.

While a bubble passes, the rotor turns unevenly: for two to four frames c can fall just as it does with a clog. But a
clog raises the pressure, and a pump that swallows air lets it drop; a clog stays, and no single frame carries it.
"""

from __future__ import annotations

import math

import numpy as np

from host.pipeline.columns import Floats

BEFORE_FRAMES = 11  # that the pressure is held against: two steps of the walk, which shakes it
_TAX = 250.0  # asked on top of the ratio, over frames², where the pressure stays
_FALL = 0.015  # of ln P: doubles it; as much of a rise, and nothing is asked
_MOST = 10.0
_UNKNOWN = -0.01  # taken for the pressure's change when frames are missing
_FRAME_S, _MISSING_S = 0.1, 1.2
_BULK = 0.8  # of the fall: what the newest frames bring of it says how long it really is
_STAYS = 0.7  # of the mean fall in the newer half
_LONG = 5  # frames from which these can be asked
_OUTLIER = 1.5  # standard deviations of one frame around the median


def proven(rows: Floats, frames: int, ratio: float, bound: float, sd: float) -> float:
    """What is left of the log likelihood ratio of a fall over the last `frames` frames; minus infinity: it is none.

    `rows` has shape (4, n), the newest frame last: how far c is off its baseline (relative), expected pulses, ln P and
    time (s). Of a frame no more than `bound` was counted; `sd` is its standard deviation.
    """
    off, weight = rows[0, -frames:], rows[1, -frames:]
    fallen = np.cumsum((np.maximum(off, bound) * weight)[::-1])
    if frames >= _LONG and fallen[frames // 2 - 1] * frames > _STAYS * fallen[-1] * (frames // 2):
        return -math.inf
    really = int(np.argmax(fallen <= _BULK * fallen[-1])) + 1
    if frames <= 2 * really:
        really = frames
    if really >= _LONG:
        newest = off[-really:]
        middle = float(np.median(newest))
        even = np.clip(newest, middle - _OUTLIER * sd, middle + _OUTLIER * sd)
        share = float(np.sum(even * weight[-really:]) / fallen[really - 1])
        ratio *= min(share, 1.0) ** 2 if share > 0 else 0.0
    asked = min(max(1.0 - _pressure_moved(rows, really) / _FALL, 0.0), _MOST)
    return ratio - asked * _TAX / (really * really)


def _pressure_moved(rows: Floats, frames: int) -> float:
    """Change of ln P in the last two or three frames against that before the last `frames`."""
    frames = max(frames, 2)
    first = rows.shape[1] - frames - BEFORE_FRAMES
    if first < 0 or rows[3, -1] - rows[3, first] > (frames + BEFORE_FRAMES) * _FRAME_S + _MISSING_S:
        return _UNKNOWN
    return float(np.mean(rows[2, -min(frames, 3) :]) - np.mean(rows[2, first : first + BEFORE_FRAMES]))
