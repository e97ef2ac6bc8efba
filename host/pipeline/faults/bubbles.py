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
from host.pipeline.faults.tuning import TUNING

_LAGS_S = TUNING.lag_s - 0.05, TUNING.lag_s, TUNING.lag_s + 0.06
_ONSETS_S = np.arange(0.06, 1.2, 0.03)  # before the end
_AROUND_S = np.arange(-0.2, 0.21, 0.05)  # a longer stretch's beginning


def clog_odds(rows: Floats, frames: int, pulses: Floats, sd: float) -> float:
    """Log of the odds of a clog that came over the last `frames` frames against a bubble.

    `rows` has shape (4, n), the newest frame last: how far c is off its baseline (relative), expected pulses for c = 1,
    ln P and time (s). `pulses` are due in each frame, shape (n,); `sd` is one frame's standard deviation.
    """
    count = min(max(frames + 4, TUNING.bubble_more_frames), rows.shape[1])
    off, variance = rows[0, -count:], sd * sd + TUNING.bubble_model_sd**2
    gain, size, onset_s = _step(off, rows[3, -count:], frames, variance)
    return gain - _bubble(off, pulses[-count:], variance) + _pressure(rows, onset_s, size)


def _step(off: Floats, time_s: Floats, frames: int, variance: float) -> tuple[float, float, float]:
    """The best step seen through a lag: gain in log likelihood over none, the fall, and how long ago it began (s)."""
    begun = time_s[-1] - time_s[-frames - 1] if frames < len(off) else 0.0
    onsets = np.concatenate((_ONSETS_S, np.maximum(begun + _AROUND_S, 0.06)))
    ends, begins = (
        time_s,
        np.maximum(
            np.concatenate((time_s[:1] - TUNING.longest_frame_pulses_s, time_s[:-1])),
            time_s - TUNING.longest_frame_pulses_s,
        ),
    )
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
    for scatter2, most in (
        (1.0 / (due * due), 1),
        *((uneven * uneven / due, TUNING.bubble_frames) for uneven in TUNING.bubble_uneven),
    ):
        within = variance + scatter2
        gains = off * off * (1.0 / variance - 1.0 / within) - np.log(within / variance)
        total = np.concatenate(([0.0], np.cumsum(0.5 * gains)))
        for length in range(1, min(most, len(off)) + 1):
            best = max(best, float(np.max(total[length:] - total[:-length])))
    return best


def _pressure(rows: Floats, onset_s: float, size: float) -> float:
    """What the pressure says: its last two or three frames against those before the onset."""
    frames = max(int(np.sum(rows[3] > rows[3, -1] - onset_s + 0.03)), 2)
    first = rows.shape[1] - frames - TUNING.step_window
    if (
        first < 0
        or rows[3, -1] - rows[3, first] > (frames + TUNING.step_window) * TUNING.frame_s + TUNING.bubble_missing_s
    ):
        return 0.0
    before = rows[2, first : first + TUNING.step_window]
    moved = float(np.mean(rows[2, -min(frames, 3) :]) - np.mean(before))
    clog = (moved - TUNING.usual_droop * size) ** 2
    says = ((moved - TUNING.bubble_pressure) ** 2 - clog) / (
        2.0 * (TUNING.bubble_pressure_sd**2 + float(np.var(before)))
    )
    return min(max(says, -TUNING.bubble_pressure_most), TUNING.bubble_pressure_most)
