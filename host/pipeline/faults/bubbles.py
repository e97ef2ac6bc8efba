"""Whether a fall of c is a nozzle that clogs, or a bubble on its way through.

While a bubble passes, the rotor turns unevenly: for two to four frames c can fall just as it does with a clog. The two
are weighed against each other by how likely the last frames are under either (a Bayes factor at the best fit: Kass and
Raftery, J. Am. Statistical Association 90, 1995). A clog falls as a step seen through the rotor's lag, stays, and
raises the pressure. A bubble scatters a few neighbouring frames, and the pump that swallows it lets the pressure drop.
None of this waits for another frame.
"""

from __future__ import annotations

import numpy as np

from host.pipeline.columns import Floats
from host.pipeline.faults.coefficient import LAG_S
from host.pipeline.faults.droop import USUAL_DROOP
from host.pipeline.faults.pressure_step import FRAME_S, WINDOW

BEFORE_FRAMES = WINDOW  # that the pressure is held against
MORE_FRAMES = 12  # before a stretch, or in a short one, that have to fit as well
ASKED = 6.6  # log of the odds: of 300 bubbles in 100 h well below one may pass
_LAGS_S = LAG_S - 0.05, LAG_S, LAG_S + 0.06
_ONSETS_S = np.arange(0.06, 1.2, 0.03)  # before the end
_AROUND_S = np.arange(-0.2, 0.21, 0.05)  # a longer stretch's beginning
_LONGEST_S = 0.3  # that the pulses of one frame took
_BUBBLE_FRAMES = 5
_UNEVEN = 0.05, 0.10  # of one pulse: how unevenly the rotor turns in it; a rotor in water stays below 0.02
_MODEL_SD = 0.004  # of c: what neither template has right
_MISSING_S = 1.2  # of frames: more, and nothing is known of the pressure before
_BUBBLE_P, _P_SD, _P_MOST = -0.02, 0.015, 5.0  # change of ln P, its scatter beside the ground's, and what it may add


def clog_odds(rows: Floats, frames: int, pulses: Floats, sd: float) -> float:
    """Log of the odds of a clog that came over the last `frames` frames against a bubble.

    `rows` has shape (4, n), the newest frame last: how far c is off its baseline (relative), expected pulses for c = 1,
    ln P and time (s). `pulses` are due in each frame, shape (n,); `sd` is one frame's standard deviation.
    """
    count = min(max(frames + 4, MORE_FRAMES), rows.shape[1])
    off, variance = rows[0, -count:], sd * sd + _MODEL_SD**2
    gain, size, onset_s = _step(off, rows[3, -count:], frames, variance)
    return gain - _bubble(off, pulses[-count:], variance) + _pressure(rows, onset_s, size)


def _step(off: Floats, time_s: Floats, frames: int, variance: float) -> tuple[float, float, float]:
    """The best step seen through a lag: gain in log likelihood over none, the fall, and how long ago it began (s)."""
    begun = time_s[-1] - time_s[-frames - 1] if frames < len(off) else 0.0
    onsets = np.concatenate((_ONSETS_S, np.maximum(begun + _AROUND_S, 0.06)))
    ends, begins = time_s, np.maximum(np.concatenate((time_s[:1] - _LONGEST_S, time_s[:-1])), time_s - _LONGEST_S)
    since = time_s[-1] - onsets[:, None, None]
    lags = np.array(_LAGS_S)[None, :, None]
    # Mean of 1 - exp(-t/τ) over each frame.
    first, last = np.maximum(begins - since, 0.0), np.maximum(ends - since, 0.0)
    shape = (last - first + lags * (np.exp(-last / lags) - np.exp(-first / lags))) / (ends - begins)
    product, square = shape @ off, np.sum(shape * shape, axis=2)
    size = np.clip(-product / np.maximum(square, 1e-9), 0.0, 1.0)  # no more can fall away than there was
    gain = -(size * product + 0.5 * size * size * square) / variance
    best = np.unravel_index(int(np.argmax(gain)), gain.shape)
    return float(gain[best]), float(size[best]), float(onsets[best[0]])


def _bubble(off: Floats, pulses: Floats, variance: float) -> float:
    """The best bubble, or one pulse missed: gain in log likelihood over none. A rotor's phase strays with the root of
    the pulses."""
    due = np.maximum(pulses, 0.3)
    best = 0.0
    for scatter2, most in ((1.0 / (due * due), 1), *((uneven * uneven / due, _BUBBLE_FRAMES) for uneven in _UNEVEN)):
        within = variance + scatter2
        gains = off * off * (1.0 / variance - 1.0 / within) - np.log(within / variance)
        total = np.concatenate(([0.0], np.cumsum(0.5 * gains)))
        for length in range(1, min(most, len(off)) + 1):
            best = max(best, float(np.max(total[length:] - total[:-length])))
    return best


def _pressure(rows: Floats, onset_s: float, size: float) -> float:
    """What the pressure says: its last two or three frames against those before the onset."""
    frames = max(int(np.sum(rows[3] > rows[3, -1] - onset_s + 0.03)), 2)
    first = rows.shape[1] - frames - BEFORE_FRAMES
    if first < 0 or rows[3, -1] - rows[3, first] > (frames + BEFORE_FRAMES) * FRAME_S + _MISSING_S:
        return 0.0
    before = rows[2, first : first + BEFORE_FRAMES]
    moved = float(np.mean(rows[2, -min(frames, 3) :]) - np.mean(before))
    clog = (moved - USUAL_DROOP * size) ** 2
    says = ((moved - _BUBBLE_P) ** 2 - clog) / (2.0 * (_P_SD**2 + float(np.var(before))))
    return min(max(says, -_P_MOST), _P_MOST)
